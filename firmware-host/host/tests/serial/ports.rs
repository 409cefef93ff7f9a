//! `coilrig ports` on pseudo-terminals.

use std::process::Command;

use crate::fake::{Fake, HELLO_OF_THE_FUTURE, OtherDevice, SERIAL};

#[test]
fn every_given_port_is_asked_and_described() {
    let fake = Fake::new();
    let other = OtherDevice::answering(b"login: ");
    let newer = OtherDevice::answering(HELLO_OF_THE_FUTURE);
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.arg("ports").arg("--json");
    for path in [fake.path(), other.path(), newer.path(), "/nowhere/at/all".into()] {
        command.arg("--port").arg(path);
    }
    let output = command.output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["format"], "coilrig-ports/1");
    let of = |path: &std::path::Path| {
        let ports = document["ports"].as_array().unwrap();
        ports.iter().find(|entry| entry["port"] == path.to_str().unwrap()).unwrap().clone()
    };
    let receiver = &of(&fake.path())["receiver"];
    assert_eq!(receiver["serial_number"], SERIAL);
    assert_eq!(receiver["axes"], 3);
    assert_eq!(of(&other.path())["no_receiver"], "another device");
    let newer = of(&newer.path())["no_receiver"].to_string();
    assert!(newer.contains("format version 300"), "{newer}");
    let none = of("/nowhere/at/all".as_ref())["no_receiver"].to_string();
    assert!(none.contains("cannot open"), "{none}");
}

#[test]
fn the_list_for_people_names_the_receiver() {
    let fake = Fake::new();
    let output = Command::new(env!("CARGO_BIN_EXE_coilrig"))
        .arg("ports")
        .arg("--port")
        .arg(fake.path())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let line = text.lines().find(|l| l.starts_with(fake.path().to_str().unwrap())).unwrap();
    assert!(line.contains("receiver CR-TEST, coilrig-receiver"), "{line}");
}
