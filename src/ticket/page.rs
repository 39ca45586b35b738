//! A page as it is drawn: from the top down, in points (1/72 inch).

use super::font::Font;

/// Points in a millimetre.
pub const MM: f32 = 72.0 / 25.4;
/// How much of the size stands above the base line, for capitals and figures of these fonts.
pub const CAPS: f32 = 0.72;

/// How dark something is: 0 is black, 1 is white.
pub type Grey = f32;
/// Black.
pub const BLACK: Grey = 0.0;
/// For what stands back.
pub const FAINT: Grey = 0.35;
/// White.
pub const WHITE: Grey = 1.0;

/// One mark on a page; `y` counts from the top.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// Text on its base line.
    Text {
        /// Its left end.
        x: f32,
        /// Its base line.
        y: f32,
        /// Its font.
        font: Font,
        /// Its size.
        size: f32,
        /// Its darkness.
        grey: Grey,
        /// What it says.
        text: String,
    },
    /// A filled rectangle.
    Fill {
        /// Its left edge.
        x: f32,
        /// Its upper edge.
        y: f32,
        /// Its width.
        width: f32,
        /// Its height.
        height: f32,
        /// Its darkness.
        grey: Grey,
    },
}

/// How a text looks.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// Its font.
    pub font: Font,
    /// Its size.
    pub size: f32,
    /// Its darkness.
    pub grey: Grey,
}

impl Style {
    /// Black.
    pub const fn new(font: Font, size: f32) -> Self {
        Self { font, size, grey: BLACK }
    }

    /// The same, standing back.
    pub const fn faint(mut self) -> Self {
        self.grey = FAINT;
        self
    }

    /// The same in another size.
    pub const fn sized(mut self, size: f32) -> Self {
        self.size = size;
        self
    }

    /// How wide a text is.
    pub fn width(&self, text: &str) -> f32 {
        self.font.width(text, self.size)
    }

    /// The greatest size from `most` down to `least` at which a text is no wider than `room`.
    pub fn fitted(self, text: &str, room: f32, most: f32, least: f32) -> Self {
        let wide = self.sized(most).width(text).max(f32::EPSILON);
        self.sized((most * room / wide).clamp(least, most))
    }

    /// A text in lines no wider than `room`: between words, and within a word only where it is
    /// wider by itself.
    pub fn wrap(&self, text: &str, room: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.width(&longer) <= room {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for char in word.chars() {
                line.push(char);
                if line.chars().count() > 1 && self.width(&line) > room {
                    // After a hyphen where there is one, as in long job numbers.
                    let before = line.len() - char.len_utf8();
                    let at = line[..before].rfind('-').map_or(before, |hyphen| hyphen + 1);
                    let rest = line.split_off(at);
                    lines.push(std::mem::replace(&mut line, rest));
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }
}

/// A page that grows downwards.
#[derive(Debug, Clone)]
pub struct Page {
    /// Its width.
    pub width: f32,
    /// Left and right margin.
    pub margin: f32,
    /// Upper and lower margin.
    pub edge: f32,
    /// How far it is drawn.
    pub y: f32,
    /// What is on it.
    pub marks: Vec<Mark>,
}

impl Page {
    /// An empty page; drawing begins below the upper margin.
    pub fn new(width: f32, margin: f32, edge: f32) -> Self {
        Self { width, margin, edge, y: edge, marks: Vec::new() }
    }

    /// How wide what stands between the margins may be.
    pub fn room(&self) -> f32 {
        self.width - 2.0 * self.margin
    }

    /// Its right margin's place.
    pub fn right(&self) -> f32 {
        self.width - self.margin
    }

    /// How high it is where it ends here.
    pub fn height(&self) -> f32 {
        self.y + self.edge
    }

    /// White space.
    pub fn space(&mut self, height: f32) {
        self.y += height;
    }

    /// Text at a place, its base line below `top` by the height of capitals.
    pub fn put(&mut self, x: f32, top: f32, style: Style, text: &str) {
        let Style { font, size, grey } = style;
        let y = top + size * CAPS;
        self.marks.push(Mark::Text { x, y, font, size, grey, text: text.to_owned() });
    }

    /// The same, ending at `x`.
    pub fn put_right(&mut self, x: f32, top: f32, style: Style, text: &str) {
        self.put(x - style.width(text), top, style, text);
    }

    /// A line of text, and on below it by its leading.
    pub fn line(&mut self, style: Style, text: &str) {
        self.put(self.margin, self.y, style, text);
        self.next(style);
    }

    /// On by a line of this style.
    pub fn next(&mut self, style: Style) {
        self.y += style.size * 1.22;
    }

    /// A text in as many lines as it needs, from `indent` on.
    pub fn paragraph(&mut self, style: Style, indent: f32, text: &str) {
        for line in style.wrap(text, self.room() - indent) {
            self.put(self.margin + indent, self.y, style, &line);
            self.next(style);
        }
    }

    /// A line across, with as much space below it as `space`.
    pub fn rule(&mut self, weight: f32, space: f32) {
        self.fill(self.margin, self.y, self.room(), weight, BLACK);
        self.y += weight + space;
    }

    /// A filled rectangle.
    pub fn fill(&mut self, x: f32, y: f32, width: f32, height: f32, grey: Grey) {
        self.marks.push(Mark::Fill { x, y, width, height, grey });
    }

    /// A word in a box across: white on black, or black in a frame.
    pub fn banner(&mut self, x: f32, top: f32, size: (f32, f32), style: Style, word: &str, is_dark: bool) {
        let (width, height) = size;
        self.fill(x, top, width, height, BLACK);
        if !is_dark {
            let frame = 1.2;
            self.fill(x + frame, top + frame, width - 2.0 * frame, height - 2.0 * frame, WHITE);
        }
        let style = Style { grey: if is_dark { WHITE } else { BLACK }, ..style };
        let above = (height - style.size * CAPS) / 2.0;
        self.put(x + (width - style.width(word)) / 2.0, top + above, style, word);
    }

    /// Bars and gaps, `module` wide each, from `x` on.
    pub fn bars(&mut self, x: f32, top: f32, module: f32, height: f32, modules: &[bool]) {
        let mut at = 0;
        for run in modules.chunk_by(|one, other| one == other) {
            if run[0] {
                self.fill(x + at as f32 * module, top, run.len() as f32 * module, height, BLACK);
            }
            at += run.len();
        }
    }
}
