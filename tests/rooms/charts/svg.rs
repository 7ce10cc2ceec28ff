//! Enough of an SVG reader to see what a chart shows and where.

use ab_glyph::{Font, FontRef, ScaleFont};

/// One tag with its attributes and the text that follows it.
pub struct Tag {
    pub name: String,
    pub attributes: Vec<(String, String)>,
    pub text: String,
}

/// A box on the sheet, fine pixels: left, top, right, bottom.
#[derive(Debug, Clone, Copy)]
pub struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Tag {
    pub fn attribute(&self, name: &str) -> &str {
        let found = self.attributes.iter().find(|(key, _)| key == name);
        found.map(|(_, value)| value.as_str()).unwrap_or_else(|| panic!("`{}` has no `{name}`", self.name))
    }

    pub fn number(&self, name: &str) -> f64 {
        self.attribute(name).parse().unwrap_or_else(|_| panic!("`{name}` is no number"))
    }

    pub fn points(&self) -> Vec<(f64, f64)> {
        let pairs = self.attribute("points").split_whitespace();
        pairs
            .map(|pair| pair.split_once(',').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect()
    }

    fn is_bold(&self) -> bool {
        self.attributes.iter().any(|(key, value)| key == "font-weight" && value == "bold")
    }

    /// Where the letters lie, from the advance widths of the font the chart names first.
    pub fn letters(&self) -> Area {
        let font_bytes = if self.is_bold() { dejavu::sans::bold() } else { dejavu::sans::regular() };
        let font = FontRef::try_from_slice(font_bytes).unwrap();
        let em = self.number("font-size");
        let scaled = font.as_scaled(font.height_unscaled() / font.units_per_em().unwrap() * em as f32);
        let width: f32 = self.text.chars().map(|c| scaled.h_advance(scaled.glyph_id(c))).sum();
        let width = f64::from(width);
        let start = match self.attribute("text-anchor") {
            "start" => 0.0,
            "middle" => -0.5 * width,
            "end" => -width,
            other => panic!("unknown anchor `{other}`"),
        };
        assert_eq!(self.attribute("dy"), "0.76em");
        let (x, y) = (self.number("x"), self.number("y"));
        // Capitals reach 0.73 em above the baseline (0.76 em below the anchor), descenders 0.2 em below it.
        let (high, low) = (0.03 * em, 0.96 * em);
        match self.attributes.iter().find(|(key, _)| key == "transform") {
            None => Area { left: x + start, right: x + start + width, top: y + high, bottom: y + low },
            Some((_, turn)) => {
                assert!(turn.starts_with("rotate(270"), "{turn}");
                Area { left: x + high, right: x + low, top: y - start - width, bottom: y - start }
            }
        }
    }

    /// The box around a polygon, circle or rectangle.
    pub fn bounds(&self) -> Option<Area> {
        match self.name.as_str() {
            "polygon" => {
                let points = self.points();
                let over = |pick: fn(&(f64, f64)) -> f64, join: fn(f64, f64) -> f64| {
                    points.iter().map(pick).reduce(join).unwrap()
                };
                Some(Area {
                    left: over(|p| p.0, f64::min),
                    right: over(|p| p.0, f64::max),
                    top: over(|p| p.1, f64::min),
                    bottom: over(|p| p.1, f64::max),
                })
            }
            "circle" => {
                let (x, y, r) = (self.number("cx"), self.number("cy"), self.number("r"));
                Some(Area { left: x - r, right: x + r, top: y - r, bottom: y + r })
            }
            _ => None,
        }
    }
}

impl Area {
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    pub fn centre(&self) -> (f64, f64) {
        (0.5 * (self.left + self.right), 0.5 * (self.top + self.bottom))
    }

    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        self.left <= x && x <= self.right && self.top <= y && y <= self.bottom
    }

    pub fn overlaps(&self, other: &Area) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// Every tag in order; panics where the document is not well formed.
pub fn tags(document: &str) -> Vec<Tag> {
    let mut tags = Vec::new();
    let mut open: Vec<String> = Vec::new();
    for piece in document.split('<').skip(1) {
        let (inside, after) = piece.split_once('>').expect("a tag that ends");
        assert!(!after.contains('>'), "a bare `>` in {after:?}");
        if let Some(closed) = inside.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(closed), "tags close in order");
            continue;
        }
        let body = inside.strip_suffix('/');
        let (name, rest) = body.unwrap_or(inside).split_once(' ').unwrap_or((body.unwrap_or(inside), ""));
        let mut attributes = Vec::new();
        let mut rest = rest.trim();
        while let Some((key, more)) = rest.split_once("=\"") {
            let (value, left) = more.split_once('"').expect("a quoted value");
            attributes.push((key.trim().to_owned(), unescape(value)));
            rest = left.trim();
        }
        if body.is_none() {
            open.push(name.to_owned());
        }
        tags.push(Tag { name: name.to_owned(), attributes, text: unescape(after.trim()) });
    }
    assert!(open.is_empty(), "every tag is closed");
    tags
}

pub fn texts(tags: &[Tag]) -> Vec<&Tag> {
    tags.iter().filter(|tag| tag.name == "text").collect()
}

fn unescape(text: &str) -> String {
    let plain = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&apos;", "'");
    for piece in plain.split('&').skip(1) {
        assert!(piece.starts_with("amp;"), "a bare `&` in {text:?}");
    }
    plain.replace("&amp;", "&")
}
