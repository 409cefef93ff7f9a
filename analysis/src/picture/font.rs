//! The font of all pictures: DejaVu Sans, cut down to the letters in use.

use std::sync::OnceLock;

use plotters::style::{FontStyle, register_font};

/// Family name that the font goes by; in SVG it lets the reader's program
/// choose its own sans-serif font where it likes.
pub const FAMILY: &str = "sans-serif";

/// Height from top to bottom of the font over its em (DejaVu Sans: 0.928 above
/// the base line, 0.236 below).
pub const HEIGHT_PER_EM: f64 = 1.164;

static REGULAR: &[u8] = include_bytes!("../../fonts/DejaVuSans.ttf");
static BOLD: &[u8] = include_bytes!("../../fonts/DejaVuSans-Bold.ttf");

/// Make the font known to the drawing library, once. False if it cannot be read.
pub fn ready() -> bool {
    static READY: OnceLock<bool> = OnceLock::new();
    *READY.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, REGULAR).is_ok()
            && register_font(FAMILY, FontStyle::Bold, BOLD).is_ok()
    })
}
