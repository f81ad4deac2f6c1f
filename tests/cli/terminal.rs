//! Pipes, colour, help, and what a package needs.

use crate::logs::{file, folder, idle};
use crate::run::{binary, finish, run};
use std::fs;
use std::process::Stdio;

#[test]
fn a_reader_that_leaves_early_is_no_error() {
    let folder = folder("terminal-pipe");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    for args in [vec!["completions", "bash"], vec!["balance", &log], vec!["manual"]] {
        let mut child =
            binary().args(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success(), "{args:?}: {}", output.status);
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{args:?}");
    }
}

#[test]
fn a_pipe_gets_no_colour() {
    let folder = folder("terminal-plain");
    let log = file(&folder, "log.csv", idle(6.0, 30));
    let run = finish(binary().args(["balance", &log]).env("TERM", "xterm")).good();
    assert!(!run.out.contains('\x1b'));
}

/// The far end of a pseudo-terminal stands in for a person's window.
#[cfg(unix)]
mod window {
    use super::*;
    use serialport::{SerialPort, TTYPort};
    use std::io::{Read, Write};
    use std::process::Command;
    use std::thread;
    use std::time::Duration;

    /// What a command writes on a terminal, to its last byte, and its exit code.
    ///
    /// The window is read while the command runs, and a byte written on the terminal after its end
    /// says that nothing more comes.
    fn shown(command: &mut Command, on: fn(&mut Command, Stdio) -> &mut Command) -> (String, i32) {
        let (mut window, mut end) = TTYPort::pair().unwrap();
        end.set_exclusive(false).unwrap();
        window.set_timeout(DEADLINE).unwrap();
        let terminal = fs::OpenOptions::new().write(true).open(end.name().unwrap()).unwrap();
        let mut mark = terminal.try_clone().unwrap();
        let mut child = on(command, Stdio::from(terminal)).spawn().unwrap();
        let reader = thread::spawn(move || {
            let mut text = Vec::new();
            let mut buffer = [0u8; 4096];
            while !text.ends_with(OVER) {
                match window.read(&mut buffer) {
                    Ok(n) if n > 0 => text.extend(&buffer[..n]),
                    other => panic!("{other:?} after {}", String::from_utf8_lossy(&text)),
                }
            }
            text.truncate(text.len() - OVER.len());
            String::from_utf8(text).unwrap()
        });
        let code = child.wait().unwrap().code().unwrap();
        // Written behind everything that the command wrote: a terminal keeps the order.
        mark.write_all(OVER).unwrap();
        (reader.join().unwrap(), code)
    }

    /// A byte that no report holds.
    const OVER: &[u8] = b"\x07";
    const DEADLINE: Duration = Duration::from_secs(60);

    fn seen(log: &str, variables: &[(&str, &str)]) -> String {
        let mut command = binary();
        command.args(["balance", log]).env("TERM", "xterm").envs(variables.iter().copied());
        let (text, code) = shown(&mut command, Command::stdout);
        assert_eq!(code, 0);
        assert!(text.contains("certificate."), "{text}");
        text
    }

    #[test]
    fn errors_fit_the_window() {
        for args in [
            vec!["balance", "a/path/that/leads/nowhere.csv"],
            vec!["balance", "log.csv", "--tolerance", "0"],
            vec!["balance", "log.csv", "--tolerance", "1000"],
        ] {
            let mut command = binary();
            command.args(&args).env("COLUMNS", "40");
            let (text, code) = shown(&mut command, Command::stderr);
            assert_eq!(code, 2);
            assert!(text.lines().count() > 2, "{text}");
            assert!(text.lines().all(|line| line.trim_end().chars().count() <= 40), "{text}");
        }
    }

    #[test]
    fn a_window_gets_colour_unless_no_color_says_otherwise() {
        let folder = folder("terminal-window");
        let log = file(&folder, "log.csv", idle(6.0, 30));
        assert!(seen(&log, &[]).contains("\x1b[1;31m"));
        assert!(!seen(&log, &[("NO_COLOR", "1")]).contains('\x1b'));
        assert!(!seen(&log, &[("TERM", "dumb")]).contains('\x1b'));
    }
}

#[test]
fn help_reads_at_eighty_and_fifty_columns() {
    for columns in [80, 50] {
        for command in [
            "",
            "balance",
            "breather",
            "compare",
            "inspect",
            "match",
            "demo",
            "completions",
            "manual",
        ] {
            let args: Vec<&str> =
                [command, "--help"].into_iter().filter(|a| !a.is_empty()).collect();
            let run = finish(binary().args(&args).env("COLUMNS", columns.to_string())).good();
            assert!(run.out.contains("Example"), "{command}: {}", run.out);
            let wide: Vec<&str> =
                run.out.lines().filter(|line| line.chars().count() > columns).collect();
            assert!(wide.is_empty(), "{command} at {columns}: {wide:?}");
        }
    }
}

#[test]
fn the_usage_asks_for_a_command() {
    assert!(run(&["--help"]).good().out.contains("Usage: evenbreath <COMMAND>\n"));
    let balance = run(&["balance", "--help"]).good().out;
    assert!(balance.contains("Usage: evenbreath balance [OPTIONS] <LOG>"), "{balance}");
}

#[test]
fn completions_for_every_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let run = run(&["completions", shell]).good();
        for word in ["balance", "breather", "compare", "inspect", "match", "demo"] {
            assert!(run.out.contains(word), "{shell}");
        }
    }
}

#[test]
fn one_manual_page_a_command() {
    let folder = folder("terminal-manual");
    let into = folder.join("man1");
    run(&["manual", "--into", into.to_str().unwrap()]).good();
    for page in ["", "-balance", "-breather", "-compare", "-inspect", "-match", "-demo"] {
        let text = fs::read_to_string(into.join(format!("evenbreath{page}.1"))).unwrap();
        assert!(text.contains(".SH SYNOPSIS"), "{page}");
    }
    let text = |page: &str| fs::read_to_string(into.join(page)).unwrap();
    let profile = text("evenbreath-profile.1");
    for (page, words) in [("new", "KEY=VALUE"), ("check", "what is wrong with it")] {
        let named = format!("evenbreath\\-profile\\-{page}(1)");
        assert!(profile.contains(&named), "{named} not in {profile}");
        let text = text(&format!("evenbreath-profile-{page}.1"));
        let usage = format!("\\fBevenbreath profile {page}\\fR");
        for part in [".SH SYNOPSIS", &usage, words, ".SH EXAMPLES"] {
            assert!(text.contains(part), "{part} not in {text}");
        }
    }
    let no_help = |entry: std::io::Result<fs::DirEntry>| {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(!name.contains("help"), "{name}");
    };
    fs::read_dir(&into).unwrap().for_each(no_help);
    let main = run(&["manual"]).good().out;
    assert!(main.contains(".TH evenbreath 1"));
    assert!(!main.contains("EXTRA"), "{main}");
    let (_, status) = main.split_once(".SH \"EXIT STATUS\"\n.nf\n").unwrap();
    assert!(status.contains("\nWith \\-\\-exit\\-code also:\n"), "{status}");
    assert!(status.contains(".SH EXAMPLES\n.nf\n"), "{status}");
    let line = main.split(".SH SYNOPSIS\n").nth(1).unwrap().lines().next().unwrap();
    assert!(line.contains("<COMMAND>") && !line.contains('['), "{line}");
}

#[test]
fn the_demo_does_the_whole_job_and_says_where_the_charts_are() {
    let folder = folder("terminal-demo");
    let [one, two] = [(), ()].map(|()| {
        finish(binary().arg("demo").args(["--chart-width", "900"]).current_dir(&folder)).good().out
    });
    assert_eq!(one, two);
    let charts: Vec<&str> = one
        .lines()
        .filter_map(|line| line.strip_prefix("- "))
        .filter(|line| line.ends_with(".png"))
        .collect();
    assert_eq!(charts.len(), 5, "{one}");
    for chart in charts {
        let bytes = fs::read(folder.join(chart)).unwrap();
        assert!(bytes.starts_with(b"\x89PNG"), "{chart}");
    }
    let joined = one.replace(" \\\n    ", " ");
    let commands: Vec<&str> =
        joined.lines().filter_map(|line| line.strip_prefix("$ evenbreath ")).collect();
    assert_eq!(commands.len(), 5, "{one}");
    for command in commands {
        finish(binary().args(command.split(' ')).current_dir(&folder)).good();
    }
    assert!(one.lines().all(|line| line.chars().count() <= 80), "{one}");
    for word in ["out of tolerance", "in tolerance", "carbon monoxide"] {
        assert!(one.contains(word), "no {word:?} in {one}");
    }
}
