//! Names that a file system allows and a table does not like, links, and closed doors.

use crate::logs::{file, folder, idle};
use crate::run::{binary, finish, run};
use crate::table::{Table, json};
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::os::unix::process::CommandExt;

#[test]
fn hostile_names_stay_in_their_cell() {
    let folder = folder("archive-names");
    let text = idle(6.0, 20);
    let names: [&[u8]; 6] = [
        b"a, \"quoted\".csv",
        b"b\nline.csv",
        b"c\x1b[31mred.csv",
        b"d<script>.csv",
        b"e\xff\xfe.csv",
        "f \u{202e}fdp.csv".as_bytes(),
    ];
    for name in names {
        fs::write(folder.join(OsStr::from_bytes(name)), &text).unwrap();
    }
    let path = folder.to_str().unwrap();
    let table = json(&run(&["balance", path, "--json"]).good());
    let want: Vec<String> =
        names.iter().map(|name| format!("{path}/{}", String::from_utf8_lossy(name))).collect();
    assert_eq!(table.texts("log"), want);
    assert!(table.texts("error").iter().all(String::is_empty));
    let csv = run(&["balance", path, "--csv"]).good().out;
    assert_eq!(Table::of_csv(csv.as_bytes(), &table), table);
    let shown = run(&["balance", path]).good().out;
    assert!(!shown.contains('\x1b'), "{shown}");
    assert_eq!(shown.lines().filter(|line| line.ends_with("out of tolerance")).count(), 6);
}

#[test]
fn a_link_is_followed_to_a_file_and_not_round_in_a_circle() {
    let folder = folder("archive-links");
    file(&folder, "a.csv", idle(6.0, 20));
    symlink(folder.join("a.csv"), folder.join("b.csv")).unwrap();
    symlink(&folder, folder.join("circle")).unwrap();
    symlink(folder.join("gone"), folder.join("c.csv")).unwrap();
    let table = json(&run(&["balance", folder.to_str().unwrap(), "--json"]).good());
    let errors = table.texts("error");
    assert_eq!(errors.len(), 3);
    assert!(errors[0].is_empty() && errors[1].is_empty());
    assert!(errors[2].contains("no such file"), "{errors:?}");
}

#[test]
fn what_may_not_be_read_is_a_row_that_says_so() {
    const NOBODY: u32 = 65_534;
    let folder = folder("archive-rights");
    file(&folder, "a.csv", idle(6.0, 20));
    let closed = file(&folder, "b.csv", idle(6.0, 20));
    let room = folder.join("c");
    fs::create_dir(&room).unwrap();
    file(&room, "d.csv", idle(6.0, 20));
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o000)).unwrap();
    fs::set_permissions(&room, fs::Permissions::from_mode(0o000)).unwrap();
    let mut command = binary();
    command.args(["balance", "--json"]).arg(&folder);
    // Nothing is closed to root, who looks in as nobody.
    if fs::metadata(&folder).unwrap().uid() == 0 {
        command.uid(NOBODY).gid(NOBODY);
    }
    let run = finish(&mut command);
    fs::set_permissions(&room, fs::Permissions::from_mode(0o755)).unwrap();
    assert_eq!(run.code, 0, "{}", run.err);
    let errors = json(&run).texts("error");
    assert_eq!((errors.len(), errors[0].as_str()), (3, ""), "{errors:?}");
    assert!(errors[1].contains("permissions"), "{errors:?}");
    assert!(errors[2].contains("the folder") && errors[2].contains("permissions"), "{errors:?}");
}
