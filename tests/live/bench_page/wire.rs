//! A wire between browser and program that can be cut.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

/// Passes on what it is given, with the program's own host in the place of its own.
pub struct Wire {
    /// `127.0.0.1:43211`
    pub host: String,
    is_cut: Arc<AtomicBool>,
    ends: Arc<Mutex<Vec<TcpStream>>>,
}

impl Wire {
    pub fn to(host: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let own = listener.local_addr().unwrap().to_string();
        let (is_cut, ends) = (Arc::new(AtomicBool::new(false)), Arc::new(Mutex::new(Vec::new())));
        let wire = Self { host: own.clone(), is_cut: is_cut.clone(), ends: ends.clone() };
        let host = host.to_owned();
        std::thread::spawn(move || {
            for near in listener.incoming().flatten() {
                let Ok(far) = TcpStream::connect(&host) else { continue };
                if is_cut.load(Ordering::SeqCst) {
                    continue;
                }
                let copies = [near.try_clone().unwrap(), far.try_clone().unwrap()];
                ends.lock().unwrap().extend([near.try_clone().unwrap(), far.try_clone().unwrap()]);
                let names = (own.clone(), host.clone());
                let [near_again, far_again] = copies;
                std::thread::spawn(move || pass(near, far, Some(names)));
                std::thread::spawn(move || pass(far_again, near_again, None));
            }
        });
        wire
    }

    /// Every connection ends, and no new one holds.
    pub fn cut(&self) {
        self.is_cut.store(true, Ordering::SeqCst);
        for end in self.ends.lock().unwrap().drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
    }

    pub fn mend(&self) {
        self.is_cut.store(false, Ordering::SeqCst);
    }
}

fn pass(mut from: TcpStream, mut to: TcpStream, names: Option<(String, String)>) {
    let mut buffer = vec![0; 64 * 1024];
    while let Ok(count) = from.read(&mut buffer) {
        if count == 0 {
            break;
        }
        let bytes = match &names {
            // Heads come whole; what else the page sends in these tests holds no host.
            Some((own, host)) => String::from_utf8_lossy(&buffer[..count]).replace(own, host).into_bytes(),
            None => buffer[..count].to_vec(),
        };
        if to.write_all(&bytes).is_err() {
            break;
        }
    }
    let _ = to.shutdown(Shutdown::Both);
}
