//! Medians and percentiles of a handful of runs.

/// The middle one; of an even number the mean of the middle two.
pub fn median(mut values: Vec<f64>) -> f64 {
    assert!(!values.is_empty(), "a median of nothing");
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len().is_multiple_of(2) { f64::midpoint(values[middle - 1], values[middle]) } else { values[middle] }
}

/// Of a hundred, ninety-five are no greater: the nearest rank.
pub fn p95(values: Vec<f64>) -> f64 {
    percentile(values, 95)
}

/// Of a hundred, so many are no greater: the nearest rank.
pub fn percentile(mut values: Vec<f64>, percent: usize) -> f64 {
    assert!(!values.is_empty(), "a percentile of nothing");
    values.sort_by(f64::total_cmp);
    values[(values.len() * percent).div_ceil(100) - 1]
}
