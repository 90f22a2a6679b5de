//! Real signals to a running program.

use std::process::{Child, Command};
use std::time::Duration;

/// Sends SIGINT, as Ctrl-C does, once the program catches it.
pub fn interrupt(program: &Child) {
    let status = format!("/proc/{}/status", program.id());
    let catches = || {
        let text = std::fs::read_to_string(&status).expect("the program runs");
        let line = text.lines().find_map(|line| line.strip_prefix("SigCgt:"));
        let caught = u64::from_str_radix(line.expect("the caught signals").trim(), 16);
        caught.expect("hexadecimal") & (1 << 1) != 0
    };
    while !catches() {
        std::thread::sleep(Duration::from_millis(1));
    }
    let sent = Command::new("kill")
        .args(["-INT", &program.id().to_string()])
        .status()
        .expect("kill runs");
    assert!(sent.success());
}
