//! Where the pieces of a long column lie: a file without a name that goes with the program.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Bytes put down and taken up again.
#[derive(Debug)]
pub(super) struct Store {
    inner: Mutex<Inner>,
}

#[derive(Debug)]
struct Inner {
    file: File,
    end: u64,
}

impl Store {
    /// An empty store in the folder for temporary files.
    ///
    /// # Errors
    /// The folder cannot be written to.
    pub fn new() -> io::Result<Store> {
        Ok(Store { inner: Mutex::new(Inner { file: tempfile::tempfile()?, end: 0 }) })
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts bytes down and gives their place.
    ///
    /// # Errors
    /// The disk is full or fails.
    pub fn put(&self, bytes: &[u8]) -> io::Result<u64> {
        let mut inner = self.inner();
        let at = inner.end;
        inner.file.seek(SeekFrom::Start(at))?;
        inner.file.write_all(bytes)?;
        inner.end += bytes.len() as u64;
        Ok(at)
    }

    /// Takes up the bytes of a place.
    ///
    /// # Errors
    /// The disk fails.
    pub fn take(&self, at: u64, bytes: &mut [u8]) -> io::Result<()> {
        let mut inner = self.inner();
        inner.file.seek(SeekFrom::Start(at))?;
        inner.file.read_exact(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_put_down_is_taken_up() {
        let store = Store::new().unwrap();
        let places: Vec<u64> = (1..9).map(|k: u8| store.put(&vec![k; 1000]).unwrap()).collect();
        for (k, at) in (1..9).zip(places).rev() {
            let mut bytes = vec![0; 1000];
            store.take(at, &mut bytes).unwrap();
            assert!(bytes.iter().all(|b| *b == k));
        }
        assert!(store.take(7500, &mut [0; 1000]).is_err());
    }
}
