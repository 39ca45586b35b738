//! Tickets: as text against files, as PDF read again by programs of others.
//!
//! After a change that is meant, write the files again and look at the difference:
//!
//!     FOCILINE_BLESS=1 cargo test --test ticket texts

mod cases;
mod pdf;
mod printing;
mod program;

use cases::all;

#[test]
fn texts_are_as_kept() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/tickets");
    for case in all() {
        for columns in [32, 20] {
            let file = folder.join(format!("{}-{columns}.txt", case.name));
            let text = case.ticket().text(columns);
            if std::env::var_os("FOCILINE_BLESS").is_some() {
                std::fs::write(&file, &text).expect("written");
            }
            let kept = std::fs::read_to_string(&file).unwrap_or_default();
            assert!(text == kept, "{} is not as kept:\n{text}", file.display());
        }
    }
}
