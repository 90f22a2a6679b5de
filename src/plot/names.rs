//! Names of files that pictures get.

use crate::motor_file::MotorFile;

/// Names of all files that [`pictures`](super::pictures()) can make of a motor file, so that a refusal comes before the long work.
pub fn possible_names(file: &MotorFile) -> Vec<String> {
    let mut out: Vec<String> = ["parameters", "budget", "torque_speed", "efficiency_map"]
        .map(String::from)
        .to_vec();
    let mut names = Names::default();
    for capture in &file.fit.captures {
        let stem = names.of(&capture.name);
        for kind in ["capture", "beginning", "ripple"] {
            out.push(format!("{kind}_{stem}"));
        }
        for part in ["start", "steady_running", "brake"] {
            out.push(format!("speed_{stem}_{part}"));
        }
    }
    out
}

/// File names from the names of captures: letters, digits, `-` and `_`, each once.
#[derive(Default)]
pub(super) struct Names(Vec<String>);

/// Longest part of a capture's name in a file name.
const LONGEST_NAME: usize = 60;

impl Names {
    pub fn of(&mut self, name: &str) -> String {
        let plain: String = name
            .chars()
            .take(LONGEST_NAME)
            .map(|c| {
                if c.is_ascii_alphanumeric() || c == '-' {
                    c
                } else {
                    '_'
                }
            })
            .collect();
        let mut stem = plain.clone();
        let mut count = 2;
        // Some file systems take capital and small letters for the same.
        while self.0.iter().any(|used| used.eq_ignore_ascii_case(&stem)) {
            stem = format!("{plain}_{count}");
            count += 1;
        }
        self.0.push(stem.clone());
        stem
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_captures_become_names_of_files() {
        let mut names = Names::default();
        assert_eq!(names.of("../../etc/passwd"), "______etc_passwd");
        assert_eq!(names.of("Start 1"), "Start_1");
        assert_eq!(names.of("start/1"), "start_1_2");
        assert!(names.of(&"ü".repeat(300)).len() <= 64);
    }
}
