//! A picture and its two files: SVG, and the same painted as PNG.

use super::ink;
use super::marks::{Marks, PIXELS, Side, WIDTH, fitting, shown, two_lines};
use super::panel::{self, Panel};
use crate::plot::error::PlotError;
use plotters::prelude::{BitMapBackend, DrawingBackend, IntoDrawingArea, SVGBackend};

/// Height of title and subtitle.
pub(in crate::plot) const HEAD: f64 = 68.0;
/// Height of the last line.
const FOOT: f64 = 26.0;
/// In every SVG picture, by which one of ours is known again.
pub(in crate::plot) const SVG_MARK: &str = "<metadata>rundown plot";
/// Value of the text chunk `Software` in every PNG picture.
pub(in crate::plot) const PNG_SOFTWARE: &str = "rundown plot";

/// Words around marks; texts from files are shown as text.
#[derive(Default)]
pub struct Picture {
    /// Name of its files, without their ending.
    pub name: String,
    pub(in crate::plot) title: String,
    pub(in crate::plot) subtitle: String,
    /// For readers who do not see it.
    pub(in crate::plot) description: String,
    /// Motor and program, in the last line.
    pub(in crate::plot) origin: String,
    /// Between head and foot, in points.
    pub(in crate::plot) height: f64,
    pub(in crate::plot) marks: Marks,
}

impl Picture {
    /// Charts of these heights under each other; the words are still missing.
    pub(in crate::plot) fn of_charts(charts: &[(Panel, f64)]) -> Picture {
        let mut picture = Picture::default();
        for (chart, height) in charts {
            picture.height +=
                panel::draw(&mut picture.marks, chart, HEAD + picture.height, *height);
        }
        picture
    }

    fn whole_height(&self) -> f64 {
        HEAD + self.height + FOOT
    }

    fn size(&self) -> (u32, u32) {
        let pixels = |points: f64| (points * PIXELS).round() as u32;
        (pixels(WIDTH), pixels(self.whole_height()))
    }

    fn paint_on<DB: DrawingBackend>(&self, backend: DB, bitmap: bool) -> Result<(), PlotError> {
        let area = backend.into_drawing_area();
        let mut around = Marks::default();
        around.rectangle((0.0, 0.0), (WIDTH, self.whole_height()), ink::PAPER);
        let mut line = |text: &str, y: f64, size: f64, ink| {
            around.word(text, (20.0, y), size, Side::Left, ink);
        };
        let room = WIDTH - 40.0;
        line(
            &fitting(&shown(&self.title), 16.0, room),
            20.0,
            16.0,
            ink::TEXT,
        );
        for (k, text) in two_lines(&shown(&self.subtitle), 11.5, room)
            .iter()
            .enumerate()
        {
            line(text, 40.0 + 15.0 * k as f64, 11.5, ink::QUIET);
        }
        around.paint(&area, bitmap)?;
        self.marks.paint(&area, bitmap)?;
        let mut foot = Marks::default();
        let at = (20.0, self.whole_height() - 0.5 * FOOT);
        foot.word(
            &fitting(&shown(&self.origin), 10.0, room),
            at,
            10.0,
            Side::Left,
            ink::QUIET,
        );
        foot.paint(&area, bitmap)?;
        area.present().map_err(|e| PlotError::Draw(e.to_string()))
    }

    /// The picture as SVG with title and description for screen readers.
    ///
    /// # Errors
    /// [`PlotError::Draw`].
    pub fn svg(&self) -> Result<String, PlotError> {
        let mut text = String::new();
        self.paint_on(SVGBackend::with_string(&mut text, self.size()), false)?;
        // The drawing library knows whole numbers only, so it draws larger and the picture is shown smaller.
        let (_, inside) = text
            .split_once(">\n")
            .ok_or_else(|| PlotError::Draw("the drawing has no content".into()))?;
        let (wide, high) = self.size();
        Ok(format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-label=\"{title}\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {wide} {high}\">\n{SVG_MARK} {version}</metadata>\n<title>{title}</title>\n<desc>{description}</desc>\n{inside}",
            title = escaped(&self.title),
            description = escaped(&self.description),
            width = WIDTH,
            height = self.whole_height(),
            version = env!("CARGO_PKG_VERSION"),
        ))
    }

    /// The picture as PNG, twice as many pixels as points.
    ///
    /// # Errors
    /// [`PlotError::Draw`], [`PlotError::Png`].
    pub fn png(&self) -> Result<Vec<u8>, PlotError> {
        let (wide, high) = self.size();
        let mut pixels = vec![0; 3 * wide as usize * high as usize];
        let backend = BitMapBackend::with_buffer(&mut pixels, (wide, high));
        self.paint_on(backend, true)?;
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, wide, high);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.add_text_chunk("Software".into(), PNG_SOFTWARE.into())?;
        // An international chunk, since titles hold names from files.
        encoder.add_itxt_chunk("Title".into(), shown(&self.title))?;
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&pixels)?;
        writer.finish()?;
        Ok(bytes)
    }
}

/// Text as XML may hold it: marks escaped, characters that XML 1.0 (section 2.2) forbids left out.
fn escaped(text: &str) -> String {
    let text = shown(text).replace('&', "&amp;").replace('<', "&lt;");
    text.replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn odd() -> Picture {
        let mut marks = Marks::default();
        marks.line(&[(0.0, 60.0), (100.0, 90.0)], ink::VOLTAGE, 1.0, None);
        Picture {
            name: "odd".into(),
            title: "</svg><script>alert(1)</script>\u{1}\u{ffff}".into(),
            subtitle: "\" & ' \u{0}".into(),
            description: "<b>&".into(),
            origin: "test".into(),
            height: 40.0,
            marks,
        }
    }

    #[test]
    fn names_from_files_are_text_in_the_svg() {
        let svg = odd().svg().expect("drawn");
        assert!(!svg.contains("<script") && !svg.contains('\u{1}') && !svg.contains('\u{0}'));
        assert_eq!(svg.matches("<svg").count(), 1);
        assert_eq!(svg.matches("</svg>").count(), 1);
        assert!(svg.contains("viewBox=\"0 0 1800 268\"") && svg.contains("width=\"900\""));
    }

    #[test]
    fn the_png_holds_what_was_painted() {
        let bytes = odd().png().expect("drawn");
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("a PNG");
        assert_eq!((reader.info().width, reader.info().height), (1800, 268));
        let mut pixels = vec![0; reader.output_buffer_size().expect("fits")];
        reader.next_frame(&mut pixels).expect("pixels");
        let blue = pixels
            .chunks(3)
            .filter(|p| p[0] < 60 && (60..140).contains(&p[1]) && p[2] > 120)
            .count();
        assert!(blue > 100, "{blue} pixels of the line");
        let dark = pixels
            .chunks(3)
            .filter(|p| p.iter().all(|c| *c < 100))
            .count();
        assert!(dark > 100, "{dark} pixels of words");
    }
}
