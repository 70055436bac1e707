//! What all server processes are told with a commit, on a channel of the database: that a job has grown, or what a firm keeps for
//! all its jobs has changed.

use domain::ids::{FirmId, JobId};

/// The channel.
pub const CHANNEL: &str = "witnessmark_job";

/// The line; without a job it is about what all devices of the firm hold.
pub fn text(firm: FirmId, job: Option<JobId>) -> String {
    job.map_or_else(|| format!("{firm}|"), |job| format!("{firm}|{job}"))
}

/// What a line says; `None` for one that is not ours.
pub fn parse(text: &str) -> Option<(FirmId, Option<JobId>)> {
    let (firm, job) = text.split_once('|')?;
    let job = if job.is_empty() { None } else { Some(job.parse().ok()?) };
    Some((firm.parse().ok()?, job))
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::ids::uuid_v7;

    #[test]
    fn what_is_said_is_understood() {
        let (firm, job) = (FirmId::of(uuid_v7(1, &[1; 10])), JobId::of(uuid_v7(2, &[2; 10])));
        for about in [Some(job), None] {
            assert_eq!(parse(&text(firm, about)), Some((firm, about)));
        }
        for other in ["", "|", "x|y", &format!("{firm}"), &format!("{firm}|{job}|")] {
            assert_eq!(parse(other), None, "{other}");
        }
    }
}
