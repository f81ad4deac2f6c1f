//! The file behind the journal, and the thread that waits for the disk.

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::thread::{Builder, JoinHandle};

/// Waits until what was written is on the disk.
pub(super) type Syncer = Box<dyn FnMut() -> io::Result<()> + Send>;

/// What the journal asks of a file. Writing appends.
pub(super) trait Store: Send {
    /// Writes some of the bytes at the end; returns how many.
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize>;
    /// Cuts the file to a length.
    fn set_len(&mut self, bytes: u64) -> io::Result<()>;
    /// The length of the file.
    fn len(&self) -> io::Result<u64>;
    /// What waits for the disk, on a handle of its own.
    fn syncer(&self) -> io::Result<Syncer>;
}

impl Store for File {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Write::write(self, bytes)
    }

    fn set_len(&mut self, bytes: u64) -> io::Result<()> {
        File::set_len(self, bytes)
    }

    fn len(&self) -> io::Result<u64> {
        self.metadata().map(|data| data.len())
    }

    fn syncer(&self) -> io::Result<Syncer> {
        let file = self.try_clone()?;
        Ok(Box::new(move || file.sync_data()))
    }
}

/// Makes a file that was not there before.
pub(super) fn create(path: &Path) -> io::Result<File> {
    OpenOptions::new().append(true).create_new(true).open(path)
}

/// Puts the name of a new file on the disk, as far as the system can do so: a file that is synced
/// may still be without a name after a power cut.
pub(super) fn sync_folder(path: &Path) {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// The disk's answer: so many rows were in the file when it was asked.
pub(super) struct Answer {
    pub rows: u64,
    pub outcome: io::Result<()>,
}

/// A thread that syncs when asked, so that a slow disk holds nobody up.
pub(super) struct SyncThread {
    asked: Option<SyncSender<u64>>,
    answers: Receiver<Answer>,
    thread: Option<JoinHandle<()>>,
}

impl SyncThread {
    /// Starts the thread.
    ///
    /// Errors: the system has no thread to give.
    pub fn start(mut sync: Syncer) -> io::Result<SyncThread> {
        // Room for one: while the disk is busy another request would say nothing new.
        let (asked, questions) = sync_channel::<u64>(1);
        let (answer, answers) = channel();
        let thread = Builder::new().name("journal sync".to_string()).spawn(move || {
            for rows in questions {
                let outcome = sync();
                if answer.send(Answer { rows, outcome }).is_err() {
                    return;
                }
            }
        })?;
        Ok(SyncThread { asked: Some(asked), answers, thread: Some(thread) })
    }

    /// Asks for a sync of so many rows; false while the disk is still busy with earlier ones.
    pub fn ask(&self, rows: u64) -> bool {
        self.asked.as_ref().is_some_and(|asked| asked.try_send(rows).is_ok())
    }

    /// The next answer that is there.
    pub fn answer(&self) -> Option<Answer> {
        self.answers.try_recv().ok()
    }

    /// Asks for a last sync, waits for it, and gives the answers still outstanding.
    pub fn finish(&mut self, rows: u64) -> Vec<Answer> {
        if let Some(asked) = self.asked.take() {
            let _ = asked.send(rows);
        }
        let answers = self.answers.iter().collect();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        answers
    }
}
