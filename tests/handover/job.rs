//! A job of sample logs in a folder of its own, and the binary run there.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A folder with copies of the sample logs.
pub struct Job {
    pub folder: PathBuf,
}

/// How a run ended.
#[derive(Debug)]
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Job {
    /// An empty folder of this test's own, with these sample logs in it.
    pub fn new(name: &str, logs: &[&str]) -> Job {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("handover").join(name);
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs");
        for log in logs {
            fs::copy(samples.join(log), folder.join(log)).unwrap();
        }
        Job { folder }
    }

    /// A job with every kind of log.
    pub fn whole(name: &str) -> Job {
        let logs = WHOLE.iter().skip(1).step_by(2).copied().collect::<Vec<_>>();
        Job::new(name, &logs)
    }

    /// Runs `report` in the folder.
    pub fn report(&self, args: &[&str]) -> Run {
        let output = Command::new(env!("CARGO_BIN_EXE_evenbreath"))
            .arg("report")
            .args(args)
            .current_dir(&self.folder)
            .env("COLUMNS", "80")
            .stdin(Stdio::null())
            .output()
            .unwrap();
        Run {
            code: output.status.code().expect("the program was killed"),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Writes `page.html` of these logs; gives its text.
    pub fn page(&self, args: &[&str]) -> String {
        let run = self.report(&[&["--out", "page.html"], args].concat());
        assert_eq!(run.code, 0, "{}", run.err);
        self.read("page.html")
    }

    /// The JSON document of these logs.
    pub fn json(&self, args: &[&str]) -> serde_json::Value {
        let run = self.report(&[&["--json"], args].concat());
        assert_eq!(run.code, 0, "{}", run.err);
        serde_json::from_str(&run.out).unwrap()
    }

    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.folder.join(name)).unwrap()
    }

    pub fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        fs::write(self.folder.join(name), text).unwrap();
    }
}

/// A job with every kind of log.
pub const WHOLE: [&str; 10] = [
    "--breather-before",
    "breather-leaking.csv",
    "--before",
    "balance-before.csv",
    "--hunt",
    "hunt.csv",
    "--breather-after",
    "breather-sealed.csv",
    "--after",
    "balance-after.csv",
];

/// The record that a page carries.
pub fn record(page: &str) -> serde_json::Value {
    let (_, rest) = page.split_once("<script type=\"application/json\" id=\"record\">").unwrap();
    serde_json::from_str(rest.split_once("</script>").unwrap().0).unwrap()
}

/// The part of a page between `<section id="NAME">` and its end.
pub fn section<'a>(page: &'a str, name: &str) -> &'a str {
    let (_, rest) = page.split_once(&format!("<section id=\"{name}\">")).unwrap();
    rest.split_once("</section>").unwrap().0
}
