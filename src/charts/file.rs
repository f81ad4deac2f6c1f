//! Writing a picture so that it is there whole or not at all.

use super::sheet::Sheet;
use super::{ChartError, paint, raster};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Format {
    Png,
    Svg,
}

impl Format {
    fn ending(self) -> &'static str {
        match self {
            Format::Png => "png",
            Format::Svg => "svg",
        }
    }
}

fn format(path: &Path) -> Result<Format, ChartError> {
    match path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase).as_deref() {
        Some("png") => Ok(Format::Png),
        Some("svg") => Ok(Format::Svg),
        _ => Err(ChartError::UnknownEnding(path.to_owned())),
    }
}

/// Draws and writes: first under a passing name in the same folder, then renamed.
///
/// # Errors
/// [`ChartError::UnknownEnding`], [`ChartError::Write`], and whatever `draw` says.
pub(super) fn write(
    path: &Path,
    draw: impl FnOnce() -> Result<Sheet, ChartError>,
) -> Result<(), ChartError> {
    let format = format(path)?;
    let sheet = draw()?;
    let cannot = |source| ChartError::Write { path: path.to_owned(), source };
    let passing = Passing::new(path, format).map_err(cannot)?;
    match format {
        Format::Png => raster::png(&sheet, &passing.path)?,
        Format::Svg => fs::write(&passing.path, paint::svg(&sheet)?).map_err(cannot)?,
    }
    passing.settle(path).map_err(cannot)
}

/// A file under a passing name, removed unless it is settled.
struct Passing {
    path: PathBuf,
    settled: bool,
}

impl Passing {
    /// The ending is that of the target: who finds it left behind can look at it.
    fn new(target: &Path, format: Format) -> io::Result<Passing> {
        let (me, ending) = (std::process::id(), format.ending());
        for turn in 0..100 {
            let path = target.with_file_name(format!(".unfinished-{me}-{turn}.{ending}"));
            match File::create_new(&path) {
                Ok(_) => return Ok(Passing { path, settled: false }),
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
            }
        }
        Err(io::Error::other("a hundred unfinished pictures are in the way"))
    }

    fn settle(mut self, target: &Path) -> io::Result<()> {
        fs::rename(&self.path, target)?;
        self.settled = true;
        Ok(())
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        if !self.settled {
            // The error that brought us here is the one worth telling.
            let _ = fs::remove_file(&self.path);
        }
    }
}
