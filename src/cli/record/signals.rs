//! Ctrl-C and its like: the first ends the work in good order, the second ends the program.

use super::keys::Keyboard;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Instant;
use tokio::runtime::Builder;
use tokio::sync::mpsc::Sender;

/// Exit code of a program that an interrupt has ended: 128 and the number of the signal.
const INTERRUPTED: i32 = 130;

/// Listens for interrupts on a thread of its own, so that the second one is heard whatever the
/// recording waits for. The journal holds whole rows at every moment, so ending at once leaves a sound
/// file.
pub fn watch(ask_to_end: Sender<()>) {
    std::thread::spawn(move || {
        let Ok(runtime) = Builder::new_current_thread().enable_all().build() else { return };
        runtime.block_on(async {
            if interrupt().await.is_ok() {
                let _ = ask_to_end.send(()).await;
            }
            if interrupt().await.is_ok() {
                std::process::exit(INTERRUPTED);
            }
        });
    });
}

/// Reads the keys of the terminal. There Ctrl-C is a key, and the second one ends the program here,
/// whatever the recording waits for.
pub fn keyboard(keys: Sender<(KeyEvent, Instant)>) -> Option<Keyboard> {
    let interrupts = AtomicU32::new(0);
    let give = move |key: KeyEvent, at| {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        if control
            && key.code == KeyCode::Char('c')
            && interrupts.fetch_add(1, Ordering::Relaxed) > 0
        {
            let _ = crossterm::terminal::disable_raw_mode();
            std::process::exit(INTERRUPTED);
        }
        keys.try_send((key, at)).is_ok() || !keys.is_closed()
    };
    // A terminal that refuses leaves a recording without keys.
    Keyboard::listen(give).ok().flatten()
}

/// The next interrupt, request to end, or loss of the terminal.
#[cfg(unix)]
async fn interrupt() -> std::io::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
        _ = hang_up.recv() => {}
    }
    Ok(())
}

/// The next interrupt.
#[cfg(not(unix))]
async fn interrupt() -> std::io::Result<()> {
    tokio::signal::ctrl_c().await
}
