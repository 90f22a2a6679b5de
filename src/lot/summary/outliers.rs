//! The motors that stand out, with their names.

use crate::lot::statistics::Finding;
use polars::prelude::*;
use serde::Serialize;

/// A motor that stands out, the strongest reason first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outlier {
    pub motor: String,
    /// As the manifest names it.
    pub named: String,
    pub findings: Vec<Finding>,
}

/// The findings by motor, the strangest motor first. `motors` has the columns `row`, `motor` and `source`.
pub(super) fn by_motor(
    mut findings: Vec<Finding>,
    motors: &DataFrame,
) -> PolarsResult<Vec<Outlier>> {
    findings.sort_by(|a, b| {
        a.row
            .cmp(&b.row)
            .then(b.sigmas.abs().total_cmp(&a.sigmas.abs()))
    });
    let rows = findings.iter().map(|finding| finding.row);
    let rows = UInt64Chunked::from_iter_values("row".into(), rows);
    let found = DataFrame::new(findings.len(), vec![rows.into_column()])?;
    let mut join = JoinArgs::new(JoinType::Left);
    join.maintain_order = MaintainOrderJoin::Left;
    let found = found.join(motors, ["row"], ["row"], join, None)?;
    let (names, sources) = (
        found.column("motor")?.str()?,
        found.column("source")?.str()?,
    );
    let mut out: Vec<Outlier> = Vec::new();
    let mut last = None;
    for ((finding, name), source) in findings.into_iter().zip(names.iter()).zip(sources.iter()) {
        if last != Some(finding.row) {
            last = Some(finding.row);
            out.push(Outlier {
                motor: name.unwrap_or_default().to_owned(),
                named: source.unwrap_or_default().to_owned(),
                findings: Vec::new(),
            });
        }
        if let Some(outlier) = out.last_mut() {
            outlier.findings.push(finding);
        }
    }
    let worst = |o: &Outlier| o.findings.first().map_or(0.0, |f| f.sigmas.abs());
    out.sort_by(|a, b| worst(b).total_cmp(&worst(a)));
    Ok(out)
}
