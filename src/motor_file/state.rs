//! What the values of a motor file are worth as a whole.

use super::{Confrontation, MotorFile, Status, StopReason};
use crate::fit::Agreement;

/// What a motor file's values are worth as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ResultState {
    /// Every parameter is measured or bounded, and nothing is in conflict.
    Ok,
    /// Some parameters are undetermined; their labels.
    Incomplete(Vec<&'static str>),
    /// Evidence contradicts other evidence, or the fit found no minimum; what does.
    InConflict(Vec<String>),
}

impl ResultState {
    /// True where nothing is in conflict and, unless `partial` results will do, nothing is undetermined.
    pub fn is_good(&self, partial: bool) -> bool {
        match self {
            ResultState::Ok => true,
            ResultState::Incomplete(_) => partial,
            ResultState::InConflict(_) => false,
        }
    }

    /// One line without its head: `OK`, `incomplete: ...`, `in conflict: ...`.
    pub fn line(&self) -> String {
        match self {
            ResultState::Ok => "OK".to_owned(),
            ResultState::Incomplete(names) => {
                format!("incomplete: {} undetermined", names.join(", "))
            }
            ResultState::InConflict(items) => format!("in conflict: {}", grouped(items)),
        }
    }
}

/// Items in a row, what several captures share named once: `polarity (start, coast)`.
fn grouped(items: &[String]) -> String {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for item in items {
        let parts = item.strip_suffix(')').and_then(|i| i.split_once(" ("));
        let (what, of) = parts.map_or((item.as_str(), None), |(what, of)| (what, Some(of)));
        match groups.iter_mut().find(|g| g.0 == what && of.is_some()) {
            Some(group) => group.1.extend(of),
            None => groups.push((what, of.into_iter().collect())),
        }
    }
    let text = |(what, of): &(&str, Vec<&str>)| match of.is_empty() {
        true => (*what).to_owned(),
        false => format!("{what} ({})", of.join(", ")),
    };
    groups.iter().map(text).collect::<Vec<_>>().join(", ")
}

impl MotorFile {
    /// Items in conflict with the others.
    pub fn conflicts(&self) -> impl Iterator<Item = &Confrontation> {
        let in_conflict = |c: &&Confrontation| c.agreement == Agreement::InConflict;
        self.confrontations.iter().filter(in_conflict)
    }

    /// Names of the items that are doubtful beside the others, each once.
    pub fn doubtful(&self) -> Vec<&str> {
        let lines = self.confrontations.iter();
        let doubtful = lines.filter(|c| c.agreement == Agreement::Doubtful);
        let mut items: Vec<&str> = doubtful.map(|c| c.item.as_str()).collect();
        items.dedup();
        items
    }

    /// What the values are worth as a whole.
    pub fn state(&self) -> ResultState {
        let mut items: Vec<String> = self.conflicts().map(|c| c.item.clone()).collect();
        items.dedup();
        if self.fit.stop.reason != StopReason::Converged {
            items.push("the fit, which found no minimum".to_owned());
        }
        let disputed = |status| status == Status::InConflict;
        let in_dispute = self.parameters.iter().find(|(_, p)| disputed(p.status));
        if items.is_empty()
            && let Some((name, _)) = in_dispute
        {
            items.push(name.label().to_owned());
        }
        if !items.is_empty() {
            return ResultState::InConflict(items);
        }
        let undetermined = self.parameters.iter();
        let undetermined: Vec<&str> = undetermined
            .filter(|(_, p)| p.status == Status::Undetermined)
            .map(|(name, _)| name.label())
            .chain(
                self.thermal
                    .iter()
                    .flat_map(|thermal| thermal.undetermined()),
            )
            .collect();
        if undetermined.is_empty() {
            ResultState::Ok
        } else {
            ResultState::Incomplete(undetermined)
        }
    }

    /// The line that a use of a file in conflict begins with; `None` for a sound one.
    pub fn conflict_warning(&self) -> Option<String> {
        match self.state() {
            ResultState::InConflict(items) => Some(format!(
                "the motor file is in conflict ({}): its values may be wrong by more than their intervals. Settle the conflict and fit again",
                items.join(", ")
            )),
            _ => None,
        }
    }
}
