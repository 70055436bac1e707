//! A chosen file to an original, its preview, and a small grey picture to measure. Nothing is decoded before its size is known
//! from its header, and a preview that fails, or comes out blank, is left out: never the photo.

use super::camera::ChosenFile;
use super::file_bytes::FileBytes;
use super::{locks, picture_decoder};
use crate::ports::camera::{Original, PhotoRefusal, Preview};
use domain::evidence::grey::{Grey, LONG_EDGE};
use domain::evidence::image_header::{HEAD_BYTES, ImageHeader, sniff};
use domain::ids::{CaptureId, Hash32};
use domain::job_file::body::{MediaType, PhotoFile, PhotoOrigin};
use domain::wire::limits::PHOTO_BYTES_MAX;
use js_sys::{Array, ArrayBuffer, Object, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    Blob, BlobPropertyBag, ImageBitmap, ImageBitmapOptions, ImageEncodeOptions, ImageOrientation, OffscreenCanvas,
    OffscreenCanvasRenderingContext2d, ResizeQuality,
};

/// Long edge of a preview.
const EDGE_MAX: u32 = 1_280;
/// Its JPEG quality.
const QUALITY: f64 = 0.8;
/// Above this a picture is not decoded on the device: 100 megapixels are 400 MB once unpacked.
const PIXELS_MAX: u64 = 100_000_000;
/// A camera of a phone makes JPEGs of 200 megapixels, and browsers unpack them at a fraction of that.
const JPEG_PIXELS_MAX: u64 = 200_000_000;
/// Cameras write their times in whole seconds, some in steps of two.
const CLOCK_SLACK_MS: u64 = 3_000;

/// Reads and names a file.
///
/// # Errors
/// [`PhotoRefusal`].
pub async fn read(file: ChosenFile, capture: CaptureId, opened_ms: u64, now_ms: u64) -> Result<Original, PhotoRefusal> {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "sizes and times are whole and not negative"
    )]
    let (size, modified_ms) = (file.0.size() as u64, file.0.last_modified().max(0.0) as u64);
    if size == 0 {
        return Err(PhotoRefusal::Empty);
    }
    if size > PHOTO_BYTES_MAX {
        return Err(PhotoRefusal::TooLarge);
    }
    let buffer = JsFuture::from(file.0.array_buffer()).await.map_err(|_| PhotoRefusal::Unreadable)?;
    let bytes = FileBytes::of_buffer(buffer.dyn_into::<ArrayBuffer>().map_err(|_| PhotoRefusal::Unreadable)?);
    if bytes.is_empty() {
        return Err(PhotoRefusal::Empty);
    }
    let header = sniff(&bytes.head(HEAD_BYTES)).ok_or(PhotoRefusal::NotAPicture)?;
    let hash = hash_of(&bytes).await;
    let file = PhotoFile { hash, bytes: bytes.len(), width: header.width, height: header.height, media: header.media };
    let origin = if modified_ms + CLOCK_SLACK_MS >= opened_ms { PhotoOrigin::Camera } else { PhotoOrigin::Imported };
    let taken_ms = if modified_ms == 0 { now_ms } else { modified_ms.min(now_ms) };
    Ok(Original { file, bytes, capture, taken_ms, origin })
}

async fn hash_of(bytes: &FileBytes) -> Hash32 {
    match bytes.sha256().await {
        Some(hash) => hash,
        // Over plain http the browser computes no hash; it costs the main thread some time and works all the same.
        None => Hash32::sha256(&bytes.to_vec()),
    }
}

/// What comes of unpacking a picture once.
#[derive(Debug, Default)]
pub struct Decoded {
    /// An upright JPEG without metadata, [`EDGE_MAX`] at most.
    pub preview: Option<Preview>,
    /// For measuring, [`LONG_EDGE`] at most.
    pub grey: Option<Grey>,
}

/// Unpacks a picture, one at a time, for each needs the whole of it in memory. What does not come of it is absent.
pub async fn decode(original: &Original) -> Decoded {
    let PhotoFile { width, height, media, .. } = original.file;
    let pixels = u64::from(width) * u64::from(height);
    let may = match media {
        MediaType::Jpeg => pixels > 0 && pixels <= JPEG_PIXELS_MAX,
        MediaType::Png | MediaType::Webp => pixels > 0 && pixels <= PIXELS_MAX,
        // Its size is not read; some platforms show it, the others refuse at once.
        MediaType::Heif => true,
    };
    if !may {
        return Decoded::default();
    }
    let buffer = original.bytes.buffer();
    locks::one_picture_at_a_time(draw(&buffer, width, height)).await.unwrap_or_default()
}

/// The same for a preview that is here already: for measuring alone.
pub async fn grey_of_preview(preview: &FileBytes) -> Option<Grey> {
    let buffer = preview.buffer();
    locks::one_picture_at_a_time(async {
        let bitmap = unpack(&buffer, &ImageBitmapOptions::new()).await?;
        let canvas = Canvas::of(&bitmap, bitmap.width(), bitmap.height());
        bitmap.close();
        let canvas = canvas?;
        let grey = canvas.grey();
        canvas.give_back();
        grey
    })
    .await
}

async fn draw(buffer: &ArrayBuffer, width: u32, height: u32) -> Option<Decoded> {
    let canvas =
        with_unpacked(buffer, width, height, EDGE_MAX, |source, (width, height)| Canvas::of(source, width, height));
    let canvas = canvas.await??;
    let grey = canvas.grey();
    let preview = match canvas.encode().await {
        Some((bytes, width, height)) => named(bytes, width, height).await,
        None => None,
    };
    canvas.give_back();
    Some(Decoded { preview, grey })
}

/// A picture for other eyes than a person's, unpacked as [`decode`] does, with its size then; `None` if it cannot be.
pub(super) async fn look_at<T>(
    buffer: &ArrayBuffer,
    edge: u32,
    look: impl FnOnce(&ImageBitmap, (u32, u32)) -> T,
) -> Option<T> {
    let ImageHeader { width, height, .. } = sniff(&FileBytes::of_buffer(buffer.clone()).head(HEAD_BYTES))?;
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > PIXELS_MAX {
        return None;
    }
    locks::one_picture_at_a_time(with_unpacked(buffer, width, height, edge, look)).await
}

async fn with_unpacked<T>(
    buffer: &ArrayBuffer,
    width: u32,
    height: u32,
    edge: u32,
    draw: impl FnOnce(&ImageBitmap, (u32, u32)) -> T,
) -> Option<T> {
    if let Some(frame) = picture_decoder::unpack(buffer, width, height, edge).await {
        let drawn = draw(&frame.source(), (frame.width(), frame.height()));
        frame.close();
        return Some(drawn);
    }
    let bitmap = unpack(buffer, &small_and_upright(width, height, edge)).await?;
    let drawn = draw(&bitmap, (bitmap.width(), bitmap.height()));
    bitmap.close();
    Some(drawn)
}

fn small_and_upright(width: u32, height: u32, edge: u32) -> ImageBitmapOptions {
    let options = ImageBitmapOptions::new();
    options.set_image_orientation(ImageOrientation::FromImage);
    options.set_resize_quality(ResizeQuality::Medium);
    // One edge is named and the browser keeps the shape. The other way round for a photo that it turns upright: then the
    // longer edge may come out as the one not named, which the drawing puts right.
    if width.max(height) > edge {
        if width >= height { options.set_resize_width(edge) } else { options.set_resize_height(edge) }
    }
    options
}

async fn unpack(buffer: &ArrayBuffer, options: &ImageBitmapOptions) -> Option<ImageBitmap> {
    let blob = Blob::new_with_buffer_source_sequence(&Array::of1(buffer)).ok()?;
    let promise = web_sys::window()?.create_image_bitmap_with_blob_and_image_bitmap_options(&blob, options).ok()?;
    JsFuture::from(promise).await.ok()?.dyn_into().ok()
}

async fn named(bytes: ArrayBuffer, width: u32, height: u32) -> Option<Preview> {
    let bytes = FileBytes::of_buffer(bytes);
    let header = sniff(&bytes.head(HEAD_BYTES))?;
    if header.media != MediaType::Jpeg || (header.width, header.height) != (width, height) {
        return None;
    }
    let hash = hash_of(&bytes).await;
    Some(Preview { file: PhotoFile { hash, bytes: bytes.len(), width, height, media: MediaType::Jpeg }, bytes })
}

/// A canvas whose pixels are read at once: one on the graphics chip is slow to read.
pub(super) fn readable_canvas(width: u32, height: u32) -> Option<(OffscreenCanvas, OffscreenCanvasRenderingContext2d)> {
    let surface = OffscreenCanvas::new(width, height).ok()?;
    let wish = Object::new();
    Reflect::set(&wish, &"willReadFrequently".into(), &true.into()).ok()?;
    let context = surface.get_context_with_context_options("2d", &wish).ok()??.dyn_into().ok()?;
    Some((surface, context))
}

/// A picture drawn upright, [`EDGE_MAX`] at most: what is measured and what is encoded come from this one drawing.
struct Canvas {
    surface: OffscreenCanvas,
    context: OffscreenCanvasRenderingContext2d,
}

impl Canvas {
    fn of(source: &ImageBitmap, width: u32, height: u32) -> Option<Self> {
        let (width, height) = fit(width, height, EDGE_MAX);
        let this = Self::empty(width, height)?;
        this.draw(source)?;
        Some(this)
    }

    fn empty(width: u32, height: u32) -> Option<Self> {
        let (surface, context) = readable_canvas(width, height)?;
        Some(Self { surface, context })
    }

    fn draw(&self, source: &ImageBitmap) -> Option<()> {
        let (width, height) = (f64::from(self.surface.width()), f64::from(self.surface.height()));
        self.context.draw_image_with_image_bitmap_and_dw_and_dh(source, 0.0, 0.0, width, height).ok()
    }

    fn grey(&self) -> Option<Grey> {
        let (width, height) = fit(self.surface.width(), self.surface.height(), LONG_EDGE);
        let small = Self::empty(width, height)?;
        // The cheap way of making small leaves pixels out, and grain then looks like edges.
        Reflect::set(&small.context, &"imageSmoothingQuality".into(), &"high".into()).ok()?;
        let (wide, high) = (f64::from(width), f64::from(height));
        small.context.draw_image_with_offscreen_canvas_and_dw_and_dh(&self.surface, 0.0, 0.0, wide, high).ok()?;
        let rgba = small.context.get_image_data(0.0, 0.0, wide, high).ok()?.data();
        small.give_back();
        // Where nothing was drawn nothing is opaque: the fault of a canvas, of which nobody should hear that a photo is dark.
        let is_drawn = rgba.chunks_exact(4).any(|pixel| pixel[3] != 0);
        let (width, height) = (usize::try_from(width).ok()?, usize::try_from(height).ok()?);
        if is_drawn { Grey::of_rgba(width, height, &rgba) } else { None }
    }

    async fn encode(&self) -> Option<(ArrayBuffer, u32, u32)> {
        let (width, height) = (self.surface.width(), self.surface.height());
        if is_flat(&self.context, width, height) {
            return None;
        }
        let options = ImageEncodeOptions::new();
        options.set_type("image/jpeg");
        options.set_quality(QUALITY);
        let promise = self.surface.convert_to_blob_with_options(&options).ok()?;
        let blob: Blob = JsFuture::from(promise).await.ok()?.dyn_into().ok()?;
        let buffer: ArrayBuffer = JsFuture::from(blob.array_buffer()).await.ok()?.dyn_into().ok()?;
        if suspiciously_small(buffer.byte_length(), width, height) && is_blank(&buffer).await {
            return None;
        }
        (buffer.byte_length() > 0).then_some((buffer, width, height))
    }

    /// The memory of a canvas is given back late unless it is made empty.
    fn give_back(&self) {
        self.surface.set_width(0);
        self.surface.set_height(0);
    }
}

/// A photo takes many times as much; one flat colour takes less.
fn suspiciously_small(bytes: u32, width: u32, height: u32) -> bool {
    const PIXELS_A_BYTE: u64 = 40;
    u64::from(bytes) * PIXELS_A_BYTE < u64::from(width) * u64::from(height)
}

/// An encoder that is out of memory gives one flat colour for a canvas that is in order: what it made is looked at. What cannot be
/// unpacked is as good as blank.
async fn is_blank(encoded: &ArrayBuffer) -> bool {
    let Some(bitmap) = unpack(encoded, &ImageBitmapOptions::new()).await else { return true };
    let canvas = Canvas::of(&bitmap, bitmap.width(), bitmap.height());
    bitmap.close();
    canvas.is_none_or(|canvas| {
        let is_blank = is_flat(&canvas.context, canvas.surface.width(), canvas.surface.height());
        canvas.give_back();
        is_blank
    })
}

/// A canvas above a limit of the platform gives one flat colour and no error. Some lines across are looked at.
fn is_flat(context: &OffscreenCanvasRenderingContext2d, width: u32, height: u32) -> bool {
    let lines = [height / 5, height / 2, height - 1 - height / 5];
    let mut first = None;
    for line in lines {
        let Ok(data) = context.get_image_data(0.0, f64::from(line), f64::from(width), 1.0) else { return true };
        for pixel in data.data().chunks_exact(4) {
            let known: &[u8; 4] = first.get_or_insert([pixel[0], pixel[1], pixel[2], pixel[3]]);
            if known != pixel {
                return false;
            }
        }
    }
    true
}

/// The size of a smaller picture: the same shape, `most` at most.
pub(super) fn fit(width: u32, height: u32, most: u32) -> (u32, u32) {
    let long = width.max(height);
    if long <= most {
        return (width.max(1), height.max(1));
    }
    let scaled = |edge: u32| u32::try_from(u64::from(edge) * u64::from(most) / u64::from(long)).unwrap_or(most).max(1);
    (scaled(width), scaled(height))
}

/// An address of these bytes for an `<img>`, valid until [`let_go`]. Only pictures that this app made or knows by type.
pub fn address_of(bytes: &FileBytes, media: MediaType) -> Option<String> {
    let properties = BlobPropertyBag::new();
    properties.set_type(match media {
        MediaType::Jpeg => "image/jpeg",
        MediaType::Png => "image/png",
        MediaType::Webp => "image/webp",
        MediaType::Heif => "image/heic",
    });
    let parts: JsValue = Array::of1(&bytes.buffer()).into();
    let blob = Blob::new_with_buffer_source_sequence_and_options(&parts, &properties).ok()?;
    web_sys::Url::create_object_url_with_blob(&blob).ok()
}

/// Gives the memory behind an address back.
pub fn let_go(address: &str) {
    // An address that is not known any more has nothing to give back.
    let _ = web_sys::Url::revoke_object_url(address);
}

#[cfg(test)]
mod tests {
    use super::fit;

    #[test]
    fn a_flat_picture_is_looked_at_and_a_photo_is_not() {
        assert!(super::suspiciously_small(7_000, 1_280, 960));
        assert!(!super::suspiciously_small(60_000, 1_280, 960));
    }

    #[test]
    fn a_smaller_picture_keeps_its_shape() {
        assert_eq!(fit(4_000, 3_000, 1_280), (1_280, 960));
        assert_eq!(fit(3_000, 4_000, 1_280), (960, 1_280));
        assert_eq!(fit(640, 480, 1_280), (640, 480));
        assert_eq!(fit(20_000, 1, 1_280), (1_280, 1));
        assert_eq!(fit(1_280, 960, 512), (512, 384));
    }
}
