//! A page as a PDF file.

use super::content::Ticket;
use super::font::{DIFFERENCES, Font, encode};
use super::page::{Mark, Page};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

const CATALOG: Ref = Ref::new(1);
const PAGES: Ref = Ref::new(2);
const PAGE: Ref = Ref::new(3);
const CONTENT: Ref = Ref::new(4);
const REGULAR: Ref = Ref::new(5);
const BOLD: Ref = Ref::new(6);
const INFO: Ref = Ref::new(7);

fn name(font: Font) -> Name<'static> {
    match font {
        Font::Regular => Name(b"R"),
        Font::Bold => Name(b"B"),
    }
}

/// The file of a page that is `height` points high. The same page gives the same bytes.
pub fn file(ticket: &Ticket, page: &Page, height: f32) -> Vec<u8> {
    let mut pdf = Pdf::new();
    pdf.catalog(CATALOG).pages(PAGES);
    pdf.pages(PAGES).kids([PAGE]).count(1);
    let mut sheet = pdf.page(PAGE);
    sheet.media_box(Rect::new(0.0, 0.0, page.width, height)).parent(PAGES).contents(CONTENT);
    let mut resources = sheet.resources();
    resources.fonts().pair(name(Font::Regular), REGULAR).pair(name(Font::Bold), BOLD);
    resources.finish();
    sheet.finish();
    for (id, base) in [(REGULAR, Name(b"Helvetica")), (BOLD, Name(b"Helvetica-Bold"))] {
        let mut font = pdf.type1_font(id);
        font.base_font(base);
        let mut encoding = font.encoding_custom();
        encoding.base_encoding(Name(b"WinAnsiEncoding"));
        let mut differences = encoding.differences();
        for (code, glyph) in DIFFERENCES {
            differences.consecutive(code, [Name(glyph)]);
        }
    }
    pdf.document_info(INFO).title(TextStr(&format!("Job {}: {}", ticket.job, ticket.word)));
    pdf.stream(CONTENT, &content(page, height));
    pdf.finish()
}

fn content(page: &Page, height: f32) -> Vec<u8> {
    let mut content = Content::new();
    for mark in &page.marks {
        match mark {
            Mark::Text { x, y, font, size, grey, text } => {
                content.begin_text().set_fill_gray(*grey).set_font(name(*font), *size);
                content.next_line(*x, height - y).show(Str(&encode(text))).end_text();
            }
            Mark::Fill { x, y, width, height: high, grey } => {
                content.set_fill_gray(*grey).rect(*x, height - y - high, *width, *high).fill_nonzero();
            }
        }
    }
    content.finish().to_vec()
}
