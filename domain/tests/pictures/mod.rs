//! Made pictures: scenes as a crew would take them, drawn from a seed, and what can go wrong with them.

use domain::evidence::grey::Grey;

pub const WIDTH: usize = 512;
pub const HEIGHT: usize = 384;

/// A generator of numbers (SplitMix64): the same pictures on every machine.
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// From `low` up to, not including, `high`.
    pub fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * (self.next() >> 40) as f32 / (1_u64 << 24) as f32
    }
    pub fn upto(&mut self, high: usize) -> usize {
        (self.next() % high as u64) as usize
    }
}

/// Values of light, 0 to 255, not yet rounded.
#[derive(Clone)]
pub struct Canvas {
    pub width: usize,
    pub height: usize,
    pub light: Vec<f32>,
}

impl Canvas {
    pub fn of(width: usize, height: usize) -> Self {
        Self { width, height, light: vec![0.0; width * height] }
    }
    fn rect(&mut self, x: (f32, f32), y: (f32, f32), light: f32) {
        let clamp = |value: f32, top: usize| (value.max(0.0) as usize).min(top);
        for row in clamp(y.0, self.height)..clamp(y.1, self.height) {
            for column in clamp(x.0, self.width)..clamp(x.1, self.width) {
                self.light[row * self.width + column] = light;
            }
        }
    }
    fn at(&self, x: f32, y: f32) -> f32 {
        let column = (x.max(0.0) as usize).min(self.width - 2);
        let row = (y.max(0.0) as usize).min(self.height - 2);
        let (dx, dy) = ((x - column as f32).clamp(0.0, 1.0), (y - row as f32).clamp(0.0, 1.0));
        let l = |c: usize, r: usize| self.light[r * self.width + c];
        let top = l(column, row) * (1.0 - dx) + l(column + 1, row) * dx;
        let bottom = l(column, row + 1) * (1.0 - dx) + l(column + 1, row + 1) * dx;
        top * (1.0 - dy) + bottom * dy
    }
    /// What a camera sees that stands elsewhere: a part of the picture at another scale.
    pub fn seen(&self, left: f32, top: f32, scale: f32) -> Self {
        let mut out = Self::of(self.width, self.height);
        for y in 0..self.height {
            for x in 0..self.width {
                out.light[y * self.width + x] = self.at(left + x as f32 * scale, top + y as f32 * scale);
            }
        }
        out
    }
    pub fn map(&self, change: impl Fn(f32) -> f32) -> Self {
        Self { light: self.light.iter().map(|light| change(*light)).collect(), ..*self }
    }
    /// Three box blurs are close to the round one of a lens out of focus.
    pub fn blurred(&self, radius: usize) -> Self {
        let mut out = self.clone();
        for _ in 0..3 {
            out = out.box_blur(radius, true).box_blur(radius, false);
        }
        out
    }
    /// A hand that moved while the picture was taken.
    pub fn shaken(&self, radius: usize) -> Self {
        self.box_blur(radius, true)
    }
    fn box_blur(&self, radius: usize, across: bool) -> Self {
        let mut out = Self::of(self.width, self.height);
        let (lines, length) = if across { (self.height, self.width) } else { (self.width, self.height) };
        let place = |line: usize, at: usize| if across { line * self.width + at } else { at * self.width + line };
        for line in 0..lines {
            let mut sums = vec![0.0_f32; length + 1];
            for at in 0..length {
                sums[at + 1] = sums[at] + self.light[place(line, at)];
            }
            for at in 0..length {
                let (from, to) = (at.saturating_sub(radius), (at + radius + 1).min(length));
                out.light[place(line, at)] = (sums[to] - sums[from]) / (to - from) as f32;
            }
        }
        out
    }
    /// The sensor's noise, and whole grey values.
    pub fn taken(&self, dice: &mut Dice, noise: f32) -> Grey {
        let pixels = self.light.iter().map(|light| {
            let grain = dice.between(-1.0, 1.0) + dice.between(-1.0, 1.0);
            (light + grain * noise).clamp(0.0, 255.0) as u8
        });
        Grey::of(self.width, self.height, pixels.collect()).expect("width by height")
    }
}

/// Through a JPEG file and back.
pub fn re_encoded(picture: &Grey, quality: u8) -> Grey {
    let (width, height) = (picture.width() as u32, picture.height() as u32);
    let image = image::GrayImage::from_raw(width, height, picture.pixels().to_vec()).expect("its own size");
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality);
    image.write_with_encoder(encoder).expect("into memory");
    let back = image::load_from_memory(&bytes).expect("what was just written").into_luma8();
    Grey::of(width as usize, height as usize, back.into_raw()).expect("the same size")
}

/// What every picture of one place has in common: wall, floor, stack, cables. `label` alone is different from unit to unit.
pub struct Scene {
    seed: u64,
}

impl Scene {
    pub const fn of(seed: u64) -> Self {
        Self { seed }
    }

    /// Drawn larger than a picture, so that a camera can move.
    pub fn drawn(&self, label: u64) -> Canvas {
        let mut dice = Dice(self.seed);
        let mut canvas = Canvas::of(WIDTH * 3 / 2, HEIGHT * 3 / 2);
        let (w, h) = (canvas.width as f32, canvas.height as f32);
        let wall = dice.between(90.0, 190.0);
        let (tilt_x, tilt_y) = (dice.between(-40.0, 40.0), dice.between(-40.0, 40.0));
        for y in 0..canvas.height {
            for x in 0..canvas.width {
                canvas.light[y * canvas.width + x] = wall + tilt_x * x as f32 / w + tilt_y * y as f32 / h;
            }
        }
        let floor = h * dice.between(0.65, 0.9);
        canvas.rect((0.0, w), (floor, h), dice.between(40.0, 120.0));
        // Bricks or boards on some walls.
        if dice.upto(3) > 0 {
            let (course, joint) = (dice.between(24.0, 60.0), dice.between(-30.0, 30.0));
            let mut y = 0.0;
            while y < floor {
                canvas.rect((0.0, w), (y, y + 2.0), wall + joint);
                y += course;
            }
        }
        // The stack: modules above each other, with a gap and a shadow.
        let count = 2 + dice.upto(4);
        let (left, width) = (w * dice.between(0.2, 0.5), w * dice.between(0.2, 0.35));
        let module = dice.between(50.0, 100.0);
        let face = dice.between(20.0, 240.0);
        for number in 0..count {
            let bottom = floor - number as f32 * module;
            canvas.rect((left, left + width), (bottom - module + 4.0, bottom), face);
            canvas.rect((left, left + width), (bottom - 2.0, bottom), face * 0.5);
        }
        for _ in 0..4 + dice.upto(8) {
            let x = dice.between(0.0, w);
            let y = dice.between(0.0, h);
            let (wide, high) = (dice.between(6.0, 90.0), dice.between(6.0, 70.0));
            canvas.rect((x, x + wide), (y, y + high), dice.between(10.0, 245.0));
        }
        // Cables.
        for _ in 0..2 + dice.upto(5) {
            let (x, bend) = (dice.between(0.0, w), dice.between(-0.4, 0.4));
            let light = dice.between(5.0, 60.0);
            for y in 0..canvas.height {
                let x = x + bend * y as f32 + (y as f32 / 40.0).sin() * 12.0;
                canvas.rect((x, x + 5.0), (y as f32, y as f32 + 1.0), light);
            }
        }
        text(&mut canvas, left + width * 0.15, floor - module * 0.8, width * 0.7, label, face);
        canvas
    }

    /// As somebody stands before it who wants the place in the picture.
    pub fn framed(&self, label: u64) -> Canvas {
        self.drawn(label).seen(WIDTH as f32 * 0.25, HEIGHT as f32 * 0.25, 1.0)
    }
}

/// A label with lines of characters that differ from unit to unit.
fn text(canvas: &mut Canvas, left: f32, top: f32, width: f32, label: u64, face: f32) {
    let mut dice = Dice(label.wrapping_mul(0x5851_f42d_4c95_7f2d));
    let paper = if face > 128.0 { 30.0 } else { 235.0 };
    let ink = 265.0 - paper;
    canvas.rect((left, left + width), (top, top + 44.0), paper);
    for line in 0..4 {
        let y = top + 4.0 + line as f32 * 10.0;
        let mut x = left + 4.0;
        while x < left + width - 8.0 {
            let wide = 1.0 + dice.upto(3) as f32;
            canvas.rect((x, x + wide), (y, y + 2.0 + dice.upto(5) as f32), ink);
            x += wide + 2.0 + dice.upto(3) as f32;
        }
    }
}
