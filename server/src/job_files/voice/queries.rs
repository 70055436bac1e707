//! The table `voice_answers`.

use domain::ids::{EntryId, JobId};
use domain::job_file::Place;

use crate::db::FirmTx;

/// Keeps the answers of a batch, in the order of its places.
pub(super) async fn keep_answers(
    tx: &mut FirmTx,
    job: JobId,
    issue: EntryId,
    places: &[Place],
    answers: &[String],
) -> Result<(), sqlx::Error> {
    let steps: Vec<String> = places.iter().map(|at| at.step.clone()).collect();
    let slots: Vec<i32> = places.iter().map(|at| i32::from(at.slot)).collect();
    let requirements: Vec<String> = places.iter().map(|at| at.requirement.clone()).collect();
    sqlx::query!(
        "insert into voice_answers (firm_id, job_id, issue_id, step, slot, requirement, answer)
         select $1, $2, $3, n.* from unnest($4::text[], $5::integer[], $6::text[], $7::text[]) as n",
        tx.firm().uuid(),
        job.uuid(),
        issue.uuid(),
        &steps,
        &slots,
        &requirements,
        answers,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// One answer.
pub(super) async fn answer(tx: &mut FirmTx, issue: EntryId, at: &Place) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select answer from voice_answers
         where firm_id = $1 and issue_id = $2 and step = $3 and slot = $4 and requirement = $5",
        tx.firm().uuid(),
        issue.uuid(),
        at.step,
        i32::from(at.slot),
        at.requirement,
    )
    .fetch_optional(&mut **tx)
    .await
}
