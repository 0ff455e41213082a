//! Connections: not too many, none that only waits.

use super::routes::{State, router};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};

/// At most so many connections at once; a further one is closed at once.
const CONNECTIONS: usize = 48;
/// A request must have come in by then.
const HEADERS: Duration = Duration::from_secs(5);
/// Bytes of a request's head.
const HEAD: usize = 16 << 10;
/// So long the pages have for the last news after the end.
const FAREWELL: Duration = Duration::from_millis(250);

/// Serves until `ended` is dropped.
pub(super) async fn serve(listener: std::net::TcpListener, state: Arc<State>, mut ended: oneshot::Receiver<()>) {
    let Ok(listener) = TcpListener::from_std(listener) else { return };
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let app = router(state);
    loop {
        let stream = tokio::select! {
            _ = &mut ended => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => stream,
                // Out of descriptors, or the other side gave up: later ones may do better.
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                }
            },
        };
        let Ok(place) = places.clone().try_acquire_owned() else { continue };
        // Small news go out at once.
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(app.clone());
        tokio::spawn(async move {
            let mut http = hyper::server::conn::http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(HEADERS).max_buf_size(HEAD);
            // A client that breaks off is no failure of ours.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(place);
        });
    }
    tokio::time::sleep(FAREWELL).await;
}
