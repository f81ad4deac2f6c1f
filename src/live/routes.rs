//! What is answered to which request.

use super::connections::Line;
use super::guard::{Guard, Refused};
use super::hub::Hub;
use super::presses::{Press, Pressed};
use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Extension, RawQuery, Request, State};
use axum::http::header::CONTENT_TYPE;
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use http_body::{Body as HttpBody, Frame as BodyFrame};
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender};
use tokio::time::timeout;

/// The longest press, bytes.
const LONGEST_PRESS: usize = 2048;
/// A press comes within this time of its head.
const PRESS_PATIENCE: Duration = Duration::from_secs(5);
/// A recorder that has not done it by then will do it later.
const ANSWER_PATIENCE: Duration = Duration::from_secs(2);

/// The parts of the page: path, type, content. Together under 150 kB, and nothing from elsewhere.
pub const PARTS: [(&str, &str, &str); 12] = [
    ("/", "text/html; charset=utf-8", include_str!("page/index.html")),
    ("/page.css", "text/css; charset=utf-8", include_str!("page/page.css")),
    ("/page.js", "text/javascript; charset=utf-8", include_str!("page/page.js")),
    ("/trace.js", "text/javascript; charset=utf-8", include_str!("page/trace.js")),
    ("/marks.js", "text/javascript; charset=utf-8", include_str!("page/marks.js")),
    ("/tones.js", "text/javascript; charset=utf-8", include_str!("page/tones.js")),
    ("/lesson.html", "text/html; charset=utf-8", include_str!("page/lesson.html")),
    ("/lesson.css", "text/css; charset=utf-8", include_str!("page/lesson.css")),
    ("/lesson.js", "text/javascript; charset=utf-8", include_str!("page/lesson.js")),
    ("/flows.js", "text/javascript; charset=utf-8", include_str!("page/flows.js")),
    ("/refused.js", "text/javascript; charset=utf-8", include_str!("page/refused.js")),
    ("/icon.svg", "image/svg+xml", include_str!("page/icon.svg")),
];

/// What the answers are made of.
#[derive(Debug, Clone)]
pub struct Desk {
    pub hub: Hub,
    pub guard: Arc<Guard>,
    pub presses: Sender<Pressed>,
}

/// All routes.
pub fn router(desk: Desk) -> Router {
    let mut router = Router::new().route("/stream", get(stream)).route("/press", post(press));
    for (path, kind, content) in PARTS {
        let part = move |State(desk): State<Desk>, RawQuery(query): RawQuery| async move {
            // The other parts hold no secret, and are asked for without the code.
            match desk.guard.see(query.as_deref()) {
                Err((status, _)) if path == "/" => {
                    (status, [(CONTENT_TYPE, kind)], include_str!("page/refused.html"))
                }
                _ => (StatusCode::OK, [(CONTENT_TYPE, kind)], content),
            }
        };
        router = router.route(path, get(part));
    }
    let guarded = from_fn_with_state(desk.clone(), guarded);
    router
        .fallback(async || (StatusCode::NOT_FOUND, "nothing here"))
        .layer(guarded)
        .with_state(desk)
}

/// Every request passes here, and every answer.
async fn guarded(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let mut response = match desk.guard.host(request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refused) => refused.into_response(),
    };
    Guard::harden(response.headers_mut());
    response
}

async fn stream(
    State(desk): State<Desk>,
    Extension(line): Extension<Arc<Line>>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    desk.guard.same_site(&headers)?;
    desk.guard.see(query.as_deref())?;
    let full = (StatusCode::SERVICE_UNAVAILABLE, "too many pages are open; close some");
    let frames = desk.hub.join(line.clone()).ok_or(full)?;
    line.streams();
    let mut response = Response::new(Body::new(Frames(frames)));
    response.headers_mut().insert(CONTENT_TYPE, HeaderValue::from_static("text/event-stream"));
    Ok(response)
}

async fn press(
    State(desk): State<Desk>,
    headers: HeaderMap,
    body: Body,
) -> Result<StatusCode, (StatusCode, String)> {
    desk.guard.press(&headers).map_err(|(status, words)| (status, words.to_string()))?;
    let late = |_| (StatusCode::REQUEST_TIMEOUT, "the press did not come whole".to_string());
    let long = |_| (StatusCode::PAYLOAD_TOO_LARGE, "too long for a press".to_string());
    let body = timeout(PRESS_PATIENCE, to_bytes(body, LONGEST_PRESS)).await.map_err(late)?;
    let press = Press::read(&body.map_err(long)?).map_err(|why| (StatusCode::BAD_REQUEST, why))?;
    let busy =
        |_| (StatusCode::SERVICE_UNAVAILABLE, "the recorder is busy; press again".to_string());
    let (pressed, answer) = Pressed::new(press);
    desk.presses.try_send(pressed).map_err(busy)?;
    match timeout(ANSWER_PATIENCE, answer).await {
        Err(_) => Ok(StatusCode::ACCEPTED),
        Ok(Ok(Ok(()))) => Ok(StatusCode::NO_CONTENT),
        Ok(Ok(Err(why))) => Err((StatusCode::CONFLICT, why)),
        Ok(Err(_)) => Err((StatusCode::CONFLICT, "the recording has ended".into())),
    }
}

/// The frames of a page as the body of an answer that does not end.
struct Frames(Receiver<Bytes>);

impl HttpBody for Frames {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<BodyFrame<Bytes>, Infallible>>> {
        self.0.poll_recv(context).map(|bytes| bytes.map(|bytes| Ok(BodyFrame::data(bytes))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_light_and_fetches_nothing_from_elsewhere() {
        let bytes: usize = PARTS.iter().map(|(_, _, content)| content.len()).sum();
        assert!(bytes < 150_000, "{bytes} bytes");
        for (path, _, content) in PARTS {
            // The name space of SVG is no address that anything is fetched from.
            let content = content.replace("http://www.w3.org/2000/svg", "");
            for foreign in
                ["http:", "https:", "url(//", "src=\"//", "@import", " style=", " onclick"]
            {
                assert!(!content.contains(foreign), "{path} has {foreign}");
            }
        }
    }
}
