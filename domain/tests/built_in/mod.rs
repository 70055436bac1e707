//! The method files that come with the server, for the tests.

/// Every file by the name under which others include it.
pub const FILES: &[(&str, &str)] = &[
    ("series-stack-floor.toml", include_str!("../../../server/methods/series-stack-floor.toml")),
    ("install-with-backup.toml", include_str!("../../../server/methods/install-with-backup.toml")),
    ("replace-fuse.toml", include_str!("../../../server/methods/replace-fuse.toml")),
    ("hybrid-inverter.toml", include_str!("../../../server/methods/hybrid-inverter.toml")),
    ("shared/ac-side.toml", include_str!("../../../server/methods/shared/ac-side.toml")),
    ("shared/arrival.toml", include_str!("../../../server/methods/shared/arrival.toml")),
    ("shared/backup.toml", include_str!("../../../server/methods/shared/backup.toml")),
    ("shared/cautions.toml", include_str!("../../../server/methods/shared/cautions.toml")),
    ("shared/covers.toml", include_str!("../../../server/methods/shared/covers.toml")),
    ("shared/dead-tests.toml", include_str!("../../../server/methods/shared/dead-tests.toml")),
    ("shared/existing-inverter.toml", include_str!("../../../server/methods/shared/existing-inverter.toml")),
    ("shared/first-power.toml", include_str!("../../../server/methods/shared/first-power.toml")),
    ("shared/further-tests.toml", include_str!("../../../server/methods/shared/further-tests.toml")),
    ("shared/goods-in.toml", include_str!("../../../server/methods/shared/goods-in.toml")),
    ("shared/handover.toml", include_str!("../../../server/methods/shared/handover.toml")),
    ("shared/install.toml", include_str!("../../../server/methods/shared/install.toml")),
    ("shared/isolation.toml", include_str!("../../../server/methods/shared/isolation.toml")),
    ("shared/live-tests.toml", include_str!("../../../server/methods/shared/live-tests.toml")),
    ("shared/new-inverter.toml", include_str!("../../../server/methods/shared/new-inverter.toml")),
    ("shared/place.toml", include_str!("../../../server/methods/shared/place.toml")),
    ("shared/pv-strings.toml", include_str!("../../../server/methods/shared/pv-strings.toml")),
    ("shared/split-phase.toml", include_str!("../../../server/methods/shared/split-phase.toml")),
    ("shared/stack.toml", include_str!("../../../server/methods/shared/stack.toml")),
];

/// Files that are methods themselves.
#[allow(dead_code, reason = "not every suite walks all of them")]
pub const METHODS: [&str; 4] =
    ["series-stack-floor.toml", "install-with-backup.toml", "replace-fuse.toml", "hybrid-inverter.toml"];
