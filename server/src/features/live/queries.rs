//! Who is to hear of a job.

use domain::ids::JobId;
use uuid::Uuid;

use crate::db::FirmTx;

/// The crew of a job and whoever wrote in its file.
pub(super) async fn people_of_job(tx: &mut FirmTx, job: JobId) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select unnest(crew) as "person!" from job_rows where firm_id = $1 and job_id = $2
           union
           select distinct author_id from entries where firm_id = $1 and job_id = $2"#,
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}
