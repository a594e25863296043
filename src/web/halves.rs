//! A page that is sent in two halves: what is known at once, then what takes seconds to work
//! out. It needs no script: the browser shows the first half while it waits for the second.
//! Whatever may refuse the page must do so before the first half is sent.

use axum::{
    body::{Body, Bytes},
    response::{Html, IntoResponse, Response},
};
use http_body::Frame;
use std::{
    convert::Infallible,
    future::Future,
    pin::Pin,
    task::{Context, Poll, ready},
};

/// Where the template of such a page parts.
pub const SEAM: &str = "<!-- then -->";

/// The first half of `first` up to its seam at once, then the second half of what `rest` gives,
/// from its seam on.
pub fn in_halves(first: &str, rest: impl Future<Output = String> + Send + 'static) -> Response {
    let head = first.split_once(SEAM).map_or(first, |(head, _)| head);
    let rest = async move {
        let page = rest.await;
        let tail = page.split_once(SEAM).map_or("", |(_, tail)| tail);
        Bytes::copy_from_slice(tail.as_bytes())
    };
    let halves = Halves { head: Some(Bytes::copy_from_slice(head.as_bytes())), rest: Some(Box::pin(rest)) };
    Html(Body::new(halves)).into_response()
}

struct Halves {
    head: Option<Bytes>,
    rest: Option<Pin<Box<dyn Future<Output = Bytes> + Send>>>,
}

impl http_body::Body for Halves {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        if let Some(head) = self.head.take() {
            return Poll::Ready(Some(Ok(Frame::data(head))));
        }
        let Some(rest) = self.rest.as_mut() else { return Poll::Ready(None) };
        let tail = ready!(rest.as_mut().poll(cx));
        self.rest = None;
        Poll::Ready(Some(Ok(Frame::data(tail))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use http_body_util::BodyExt;
    use tokio::sync::oneshot;

    #[tokio::test]
    async fn the_first_half_does_not_wait_for_the_second() {
        let (done, waits) = oneshot::channel::<String>();
        let answer = in_halves("head, wait<!-- then -->old", async { waits.await.unwrap_or_default() });
        let mut body = answer.into_body();
        let head = body.frame().await.expect("a half").expect("bytes").into_data().expect("data");
        assert_eq!(&head[..], b"head, wait");
        done.send("head<!-- then -->tail".into()).expect("somebody waits");
        let tail = body.collect().await.expect("the rest").to_bytes();
        assert_eq!(&tail[..], b"tail");
    }
}
