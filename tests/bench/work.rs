//! What a crew writes in a day, as far as bytes and rows go.

use domain::ids::{CaptureId, Hash32, JobId};
use domain::job_file::body::{
    Body, Confirmation, MediaType, Photo, PhotoFile, PhotoOrigin, Reading, ReadingQuality, Remark, Sign,
};
use domain::job_file::{Entry, Place};
use domain::method::Method;
use sqlx::PgPool;
use tests::phone::{TestPhone, serial_read, small_method};
use uuid::Uuid;

/// Lead of the demo firm.
pub const LEAD: &str = "quill@larkfield.example";
/// Technician of the demo firm.
pub const TECHNICIAN: &str = "ashdown@larkfield.example";

/// The method of the tests, where the server finds methods.
pub async fn publish(owner: &PgPool) -> Method {
    let method = small_method();
    tests::phone::publish(owner, &method).await.unwrap();
    method
}

/// So many entries of a technician, in the phone's tray.
pub fn record(phone: &mut TestPhone, job: JobId, count: usize) {
    for number in 0..count {
        phone.write(job, body(number));
    }
}

/// The n-th entry of a technician: of five, two photos with previews, a reading, a tick and a remark; a serial now and then.
pub fn body(number: usize) -> Body {
    match number % 5 {
        0 | 2 => Body::Photo(photo()),
        1 => Body::Reading(reading(number)),
        3 if number % 50 == 3 => Body::Serial(serial_read(1, &serial(), None)),
        3 => Body::Confirmation(Confirmation {
            at: Place::of("arrive", 0, "here"),
            statement: Hash32::sha256(b"as shown"),
            person: None,
            named_in: None,
            corrects: None,
        }),
        _ => Body::Remark(Remark { at: None, text: format!("cable tray {number} is a hand wider") }),
    }
}

/// The bytes in the tray, which is empty then.
pub fn take_tray(phone: &mut TestPhone) -> Vec<Entry> {
    let tray = std::mem::take(&mut phone.tray);
    tray.iter().map(|(job, id)| phone.files[job].get(*id).unwrap().entry.clone()).collect()
}

/// Serials of all runs differ: the same one in two jobs would be a finding, and findings are not what is measured.
fn serial() -> String {
    Uuid::new_v4().simple().to_string()[..14].to_uppercase()
}

/// A photo of which nobody has the bytes.
pub fn photo() -> Photo {
    let file = |bytes, width, height| PhotoFile {
        hash: Hash32::sha256(Uuid::new_v4().as_bytes()),
        bytes,
        width,
        height,
        media: MediaType::Jpeg,
    };
    Photo {
        at: Place::of("arrive", 0, "photo"),
        capture: CaptureId::of(Uuid::now_v7()),
        original: file(4_200_000, 4_032, 3_024),
        preview: Some(file(310_000, 1_600, 1_200)),
        taken_ms: 1_767_225_600_000,
        origin: PhotoOrigin::Camera,
        corrects: None,
        kept_anyway: false,
    }
}

fn reading(number: usize) -> Reading {
    Reading {
        at: Place::of("dead", 0, "v"),
        raw: format!("{}.{}", number % 9, number % 10),
        micro: Some(1_000_000),
        unit: 1,
        sign: Sign::Equal,
        quality: ReadingQuality::Ok,
        instrument: None,
        corrects: None,
        test_voltage: None,
    }
}
