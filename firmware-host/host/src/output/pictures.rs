//! Pictures as files, each as SVG and as PNG.

use std::path::Path;

use coilrig_analysis::picture::{self, Drawing, Picture};

use crate::error::{Error, Result};
use crate::files;

/// Draw `what`.
pub fn draw(what: &impl Picture) -> Result<Drawing> {
    picture::render(what)
        .map_err(|e| Error::file(what.title(), e.to_string(), "report this with the input"))
}

/// Draw `what` as SVG alone.
pub fn svg(what: &impl Picture) -> Result<String> {
    picture::svg(what)
        .map_err(|e| Error::file(what.title(), e.to_string(), "report this with the input"))
}

/// Draw `what` and write NAME.svg and NAME.png to `folder`.
pub fn write(folder: &Path, name: &str, what: &impl Picture) -> Result<()> {
    let drawing = draw(what)?;
    files::write_whole(&folder.join(format!("{name}.svg")), drawing.svg.as_bytes())?;
    files::write_whole(&folder.join(format!("{name}.png")), &drawing.png)
}
