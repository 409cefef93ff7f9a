//! From a picture to SVG text and PNG bytes.

use plotters::prelude::{BitMapBackend, DrawingBackend, IntoDrawingArea, SVGBackend};

use super::canvas::{Canvas, FINE, Lettering};
use super::font;
use super::style::colour;

/// Pixels of a PNG per point.
const PNG_SCALE: u32 = 2;

/// Something that can draw itself.
pub trait Picture {
    /// Width and height, points.
    fn size(&self) -> (u32, u32);

    /// One line that says what the picture shows.
    fn title(&self) -> String;

    /// Draw on `canvas`, which is white and of the picture's size.
    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError>;
}

/// A finished picture in both forms.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawing {
    /// A whole SVG document.
    pub svg: String,
    /// A PNG file of twice as many pixels as the picture has points.
    pub png: Vec<u8>,
}

/// Why a picture could not be drawn: a fault of the program, not of its input.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// The font in the program cannot be read.
    #[error("the built-in font cannot be read")]
    Font,
    /// The drawing library refused.
    #[error("drawing failed: {0}")]
    Drawing(String),
    /// The PNG encoder refused.
    #[error("encoding PNG failed: {0}")]
    Png(String),
}

impl PictureError {
    pub(super) fn drawing(error: impl std::fmt::Display) -> Self {
        Self::Drawing(error.to_string())
    }
}

/// Draw `picture` in both forms.
pub fn render(picture: &impl Picture) -> Result<Drawing, PictureError> {
    Ok(Drawing { svg: svg(picture)?, png: png(picture)? })
}

/// Draw `picture` as a whole SVG document alone, for pages with many of them.
pub fn svg(picture: &impl Picture) -> Result<String, PictureError> {
    if !font::ready() {
        return Err(PictureError::Font);
    }
    as_svg(picture)
}

fn as_svg(picture: &impl Picture) -> Result<String, PictureError> {
    let (width, height) = picture.size();
    let fine = (width * FINE, height * FINE);
    let mut text = String::new();
    draw_on(picture, SVGBackend::with_string(&mut text, fine), Lettering::SVG)?;
    // The library writes its own pixels as the size to show at; points are meant.
    let drawn = format!("width=\"{}\" height=\"{}\"", fine.0, fine.1);
    let shown = format!("width=\"{width}\" height=\"{height}\" role=\"img\"");
    let text = text.replacen(&drawn, &shown, 1);
    Ok(match text.split_once(">\n") {
        Some((head, body)) => {
            format!("{head}>\n<title>{}</title>\n{body}", escaped(&picture.title()))
        }
        None => text,
    })
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn png(picture: &impl Picture) -> Result<Vec<u8>, PictureError> {
    let (width, height) = picture.size();
    let fine = (width * FINE, height * FINE);
    let mut pixels = vec![255_u8; 3 * fine.0 as usize * fine.1 as usize];
    draw_on(picture, BitMapBackend::with_buffer(&mut pixels, fine), Lettering::BITMAP)?;

    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width * PNG_SCALE, height * PNG_SCALE);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let failed = |e: png::EncodingError| PictureError::Png(e.to_string());
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(&averaged(&pixels, fine.0 as usize)).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}

/// RGB `pixels` in rows of `width`, each square of FINE / PNG_SCALE a side
/// averaged into one pixel: smooth edges for lines and letters alike.
fn averaged(pixels: &[u8], width: usize) -> Vec<u8> {
    const SIDE: usize = (FINE / PNG_SCALE) as usize;
    let stride = 3 * width;
    let mut out = Vec::with_capacity(pixels.len() / (SIDE * SIDE));
    for rows in pixels.chunks_exact(SIDE * stride) {
        for column in 0..width / SIDE {
            for channel in 0..3 {
                let first = 3 * column * SIDE + channel;
                let sum: usize = (0..SIDE * SIDE)
                    .map(|i| usize::from(rows[first + i / SIDE * stride + 3 * (i % SIDE)]))
                    .sum();
                out.push((sum / (SIDE * SIDE)) as u8);
            }
        }
    }
    out
}

fn draw_on<DB: DrawingBackend>(
    picture: &impl Picture,
    backend: DB,
    lettering: Lettering,
) -> Result<(), PictureError> {
    let root = backend.into_drawing_area();
    root.fill(&colour::WHITE).map_err(PictureError::drawing)?;
    picture.draw(&Canvas::new(&root, lettering))?;
    root.present().map_err(PictureError::drawing)
}

#[cfg(test)]
mod tests {
    use super::super::canvas::Align;
    use super::super::style::Stroke;
    use super::*;

    struct Corner;

    impl Picture for Corner {
        fn size(&self) -> (u32, u32) {
            (60, 40)
        }

        fn title(&self) -> String {
            "a < b".into()
        }

        fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
            canvas.rectangle((0.0, 0.0), (10.0, 10.0), colour::BLACK, 1.0)?;
            canvas.line(&[(20.0, 30.0), (50.0, 30.0)], Stroke::solid(colour::BLUE, 2.0))?;
            canvas.text("µ", (30.0, 20.0), Align::Centre, 12.0, colour::INK)
        }
    }

    #[test]
    fn png_holds_what_was_drawn_where_it_was_drawn() {
        let drawing = render(&Corner).unwrap();
        let decoder = png::Decoder::new(std::io::Cursor::new(&drawing.png[..]));
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), (120, 80));
        let pixel = |x: usize, y: usize| &pixels[3 * (y * 120 + x)..][..3];
        assert_eq!(pixel(5, 5), [0, 0, 0]);
        assert_eq!(pixel(30, 5), [255, 255, 255]);
        assert_eq!(pixel(70, 60), [0, 114, 178]);
    }

    #[test]
    fn svg_shows_at_the_size_in_points_and_names_itself() {
        let svg = render(&Corner).unwrap().svg;
        assert!(svg.starts_with("<svg width=\"60\" height=\"40\" role=\"img\""), "{svg}");
        assert!(svg.contains("viewBox=\"0 0 240 160\"") && svg.contains("<title>a &lt; b</title>"));
        assert!(svg.contains('µ'));
    }

    #[test]
    fn the_same_picture_twice_is_the_same_bytes() {
        assert_eq!(render(&Corner), render(&Corner));
    }
}
