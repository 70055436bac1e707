//! Which photos of a job are there.

use domain::ids::JobId;

use crate::db::FirmTx;

pub(super) struct ArrivedRow {
    pub(super) sha256: Vec<u8>,
    pub(super) media: String,
}

/// Photos that have arrived for a job, with their type.
pub(super) async fn arrived(tx: &mut FirmTx, job: JobId) -> Result<Vec<ArrivedRow>, sqlx::Error> {
    sqlx::query_as!(
        ArrivedRow,
        "select a.sha256, p.media
         from photo_arrivals a
         join photos p on p.firm_id = a.firm_id and p.sha256 = a.sha256
         where a.firm_id = $1 and a.job_id = $2
         order by a.sha256",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}
