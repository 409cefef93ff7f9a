//! Connections: few, and none that only takes up room.

use std::io;
use std::time::Duration;

use axum::Router;
use axum::extract::Extension;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};

use super::guard::Peer;
use super::places::{Most, Places};

/// Connections at once: each viewer has one for the stream and some for the parts.
const MOST: Most = Most { here: 96, elsewhere: 192, each: 24 };
/// A request's head must have come within so long, and be no longer than this.
const HEAD_PATIENCE: Duration = Duration::from_secs(10);
const LONGEST_HEAD: usize = 16 * 1024;
/// What was sent must have been taken within so long, or the viewer has vanished.
const TAKEN_WITHIN_MS: u32 = 20_000;

/// Serve for ever.
pub async fn serve(listener: TcpListener, router: Router) {
    let places = Places::new(MOST);
    loop {
        let (stream, peer) = match listener.accept().await {
            Ok(accepted) => accepted,
            Err(_) => {
                // Too many open files, or one who left already; neither mends at once.
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        // Who has too many already is hung up on.
        let Some(place) = places.take(peer.ip()) else { continue };
        // A page that is a little later, or a viewer who vanishes unnoticed for longer.
        let _ = prepare(&stream);
        let service = TowerToHyperService::new(router.clone().layer(Extension(Peer(peer))));
        tokio::spawn(async move {
            let serving = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_PATIENCE)
                .max_buf_size(LONGEST_HEAD)
                .serve_connection(TokioIo::new(stream), service);
            // Who breaks off or sends nonsense is not worth a word.
            let _ = serving.await;
            drop(place);
        });
    }
}

fn prepare(stream: &TcpStream) -> io::Result<()> {
    stream.set_nodelay(true)?;
    #[cfg(target_os = "linux")]
    rustix::net::sockopt::set_tcp_user_timeout(stream, TAKEN_WITHIN_MS)?;
    Ok(())
}
