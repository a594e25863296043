//! The program itself, started and stopped as an operator does it.

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    process::{Command, Stdio},
};

/// Starts `glebe serve` in a new folder, asks it for a page while it is told to stop.
#[test]
fn a_first_start_prints_its_link_and_a_stop_is_clean() {
    let folder = tempfile::tempdir().unwrap();
    let mut server = Command::new(env!("CARGO_BIN_EXE_glebe"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(server.stdout.take().unwrap()).lines().map(Result::unwrap);
    let link = lines.find(|line| line.contains("/setup?key=")).unwrap();
    let (address, path) = link.strip_prefix("http://").unwrap().split_once('/').unwrap();
    assert!(lines.next().unwrap().ends_with(&format!("http://{address}")));

    let mut connection = TcpStream::connect(address).unwrap();
    write!(connection, "GET /{path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").unwrap();
    let mut page = String::new();
    connection.read_to_string(&mut page).unwrap();
    assert!(page.starts_with("HTTP/1.1 200") && page.contains("Start the record"), "{page}");

    let told = Command::new("kill").args(["-TERM", &server.id().to_string()]).status().unwrap();
    assert!(told.success());
    assert!(server.wait().unwrap().success());
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(!left.iter().any(|name| name.to_string_lossy().ends_with("-wal")), "the record was not closed: {left:?}");
}
