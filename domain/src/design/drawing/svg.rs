//! A picture as text, built from a few kinds of stroke.

use core::fmt::Write;

/// Where text stands on its point.
#[derive(Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A picture in whole units of its view box.
pub(super) struct Svg {
    width: i32,
    height: i32,
    body: String,
}

impl Svg {
    pub(super) fn of(width: i32, height: i32) -> Svg {
        Svg { width, height, body: String::with_capacity(8_192) }
    }

    /// The whole document. It holds no words, so whoever shows it says beside it what it is.
    pub(super) fn finish(self) -> String {
        let Svg { width, height, body } = self;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" aria-hidden=\"true\" fill=\"none\" \
             stroke=\"currentColor\" stroke-width=\"2\" font-family=\"sans-serif\" font-size=\"15\">{body}</svg>"
        )
    }

    fn put(&mut self, text: core::fmt::Arguments<'_>) {
        self.body.write_fmt(text).expect("writing to a string cannot fail");
    }

    pub(super) fn line(&mut self, x1: i32, y1: i32, x2: i32, y2: i32) {
        self.put(format_args!("<path d=\"M{x1} {y1}L{x2} {y2}\"/>"));
    }

    /// Thin, for measures and hatching.
    pub(super) fn thin(&mut self, x1: i32, y1: i32, x2: i32, y2: i32) {
        self.put(format_args!("<path stroke-width=\"1\" d=\"M{x1} {y1}L{x2} {y2}\"/>"));
    }

    /// Protective conductors and enclosures: dash, dot.
    pub(super) fn dashed(&mut self, points: &[(i32, i32)]) {
        let path = path(points);
        self.put(format_args!("<path stroke-dasharray=\"12 4 3 4\" d=\"{path}\"/>"));
    }

    pub(super) fn poly(&mut self, points: &[(i32, i32)]) {
        let path = path(points);
        self.put(format_args!("<path d=\"{path}\"/>"));
    }

    pub(super) fn thick(&mut self, x1: i32, y1: i32, x2: i32, y2: i32) {
        self.put(format_args!("<path stroke-width=\"6\" d=\"M{x1} {y1}L{x2} {y2}\"/>"));
    }

    pub(super) fn rect(&mut self, x: i32, y: i32, width: i32, height: i32) {
        self.put(format_args!("<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\"/>"));
    }

    pub(super) fn circle(&mut self, x: i32, y: i32, radius: i32) {
        self.put(format_args!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\"/>"));
    }

    pub(super) fn dot(&mut self, x: i32, y: i32) {
        self.put(format_args!("<circle cx=\"{x}\" cy=\"{y}\" r=\"4\" fill=\"currentColor\"/>"));
    }

    /// A filled triangle whose tip is at the point, looking along (dx, dy), each −1, 0 or 1.
    pub(super) fn arrow(&mut self, x: i32, y: i32, dx: i32, dy: i32) {
        let (back_x, back_y) = (x - 10 * dx, y - 10 * dy);
        let (side_x, side_y) = (4 * dy, 4 * dx);
        self.put(format_args!(
            "<path fill=\"currentColor\" stroke=\"none\" d=\"M{x} {y}L{} {}L{} {}Z\"/>",
            back_x + side_x,
            back_y + side_y,
            back_x - side_x,
            back_y - side_y
        ));
    }

    pub(super) fn text(&mut self, x: i32, y: i32, anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.put(format_args!(
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" fill=\"currentColor\" stroke=\"none\">{}</text>",
            escaped(text)
        ));
    }

    /// Lines of text that end above a point.
    pub(super) fn above(&mut self, x: i32, y: i32, lines: &[String]) {
        let count = i32::try_from(lines.len()).unwrap_or(0);
        for (index, line) in (0..).zip(lines) {
            self.text(x, y - LINE_HEIGHT * (count - 1 - index), Anchor::Middle, line);
        }
    }
}

/// Between two lines of text.
pub(super) const LINE_HEIGHT: i32 = 18;

fn path(points: &[(i32, i32)]) -> String {
    let mut path = String::new();
    for (index, (x, y)) in points.iter().enumerate() {
        let step = if index == 0 { 'M' } else { 'L' };
        write!(path, "{step}{x} {y}").expect("writing to a string cannot fail");
    }
    path
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            sign if sign.is_control() => safe.push(' '),
            sign => safe.push(sign),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_break_out() {
        let mut svg = Svg::of(10, 10);
        svg.text(0, 0, Anchor::Start, "<script>\"&'\u{0}");
        let out = svg.finish();
        assert!(out.contains("&lt;script&gt;&quot;&amp;&#39; "), "{out}");
        assert!(!out.contains("<script"));
    }

    #[test]
    fn nothing_has_a_colour_of_its_own() {
        let mut svg = Svg::of(10, 10);
        svg.line(0, 0, 1, 1);
        svg.dot(1, 1);
        let out = svg.finish();
        assert!(out.contains("stroke=\"currentColor\"") && !out.contains('#'));
    }
}
