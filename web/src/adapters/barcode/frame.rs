//! What a reader is shown: a picture on a canvas, small enough to be looked through in a moment.

use js_sys::{ArrayBuffer, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{ImageBitmap, OffscreenCanvas, OffscreenCanvasRenderingContext2d};

use crate::adapters::camera::ChosenFile;
use crate::adapters::photo;

/// Long edge of a frame of the camera.
const EDGE: u32 = 960;
/// Long edge of a photo: nobody waits for the next one, and its code may be small in it.
const PHOTO_EDGE: u32 = 1_920;
/// Long edge to which a photo is unpacked, for its middle.
const UNPACKED_EDGE: u32 = 3_840;
/// A larger file is no photo of a label.
const BYTES_MAX: f64 = 60_000_000.0;

/// A picture on a canvas.
pub struct Frame {
    surface: OffscreenCanvas,
    context: OffscreenCanvasRenderingContext2d,
}

impl Frame {
    fn empty(width: u32, height: u32) -> Option<Self> {
        let (surface, context) = photo::readable_canvas(width, height)?;
        Some(Self { surface, context })
    }

    /// White all over.
    pub fn white(width: u32, height: u32) -> Option<Self> {
        let this = Self::empty(width, height)?;
        this.context.set_fill_style_str("#fff");
        this.context.fill_rect(0.0, 0.0, f64::from(width), f64::from(height));
        this.context.set_fill_style_str("#000");
        Some(this)
    }

    /// A square of it becomes black.
    pub fn blacken(&self, x: u32, y: u32, edge: u32) {
        self.context.fill_rect(f64::from(x), f64::from(y), f64::from(edge), f64::from(edge));
    }

    /// Of something of this size that can be drawn: all of it made small, or its middle as it is.
    fn of(source: &JsValue, (width, height): (u32, u32), middle: bool, edge: u32) -> Option<Self> {
        let cut = if middle { (width.min(edge), height.min(edge)) } else { (width, height) };
        let (wide, high) = photo::fit(cut.0, cut.1, edge);
        let this = Self::empty(wide, high)?;
        let [x, y] = [(width - cut.0) / 2, (height - cut.1) / 2].map(f64::from);
        // The drawing functions ask for a bitmap by type and take any picture.
        let picture = source.unchecked_ref::<ImageBitmap>();
        let [from_wide, from_high, wide, high] = [cut.0, cut.1, wide, high].map(f64::from);
        this.context
            .draw_image_with_image_bitmap_and_sw_and_sh_and_dx_and_dy_and_dw_and_dh(
                picture, x, y, from_wide, from_high, 0.0, 0.0, wide, high,
            )
            .ok()?;
        Some(this)
    }

    /// What a camera shows.
    pub fn of_camera(video: &JsValue, size: (u32, u32), middle: bool) -> Option<Self> {
        Self::of(video, size, middle, EDGE)
    }

    /// Pixels across and down.
    pub fn size(&self) -> (u32, u32) {
        (self.surface.width(), self.surface.height())
    }

    /// For a reader that takes pictures.
    pub fn picture(&self) -> &JsValue {
        self.surface.as_ref()
    }

    /// Red, green, blue and one more byte a pixel.
    pub fn pixels(&self) -> Option<ArrayBuffer> {
        let [width, height] = [self.surface.width(), self.surface.height()].map(f64::from);
        let data = self.context.get_image_data(0.0, 0.0, width, height).ok()?;
        // The typed getter would copy all of it into our memory and out again.
        let values = Reflect::get(&data, &"data".into()).ok()?;
        Reflect::get(&values, &"buffer".into()).ok()?.dyn_into().ok()
    }
}

impl Drop for Frame {
    /// The memory of a canvas is given back late unless it is made empty.
    fn drop(&mut self) {
        self.surface.set_width(0);
        self.surface.set_height(0);
    }
}

/// What is looked at in a photo, in this order: all of it, its middle as it is, all of it smaller still.
pub async fn of_photo(file: ChosenFile) -> Option<Vec<Frame>> {
    if file.0.size() > BYTES_MAX {
        return None;
    }
    let buffer: ArrayBuffer = JsFuture::from(file.0.array_buffer()).await.ok()?.dyn_into().ok()?;
    photo::look_at(&buffer, UNPACKED_EDGE, |source, size| {
        let looks = [(false, PHOTO_EDGE), (true, PHOTO_EDGE), (false, EDGE)];
        looks.into_iter().filter_map(|(middle, edge)| Frame::of(source, size, middle, edge)).collect()
    })
    .await
}
