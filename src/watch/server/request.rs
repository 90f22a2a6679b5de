//! Requests within bounds, and responses that no other site may use.

use std::io::{self, BufRead};
use std::time::{Duration, Instant};

/// Most bytes of a request's head and of its body.
const LONGEST_HEAD: usize = 16 << 10;
const LONGEST_BODY: usize = 256 << 10;
const MOST_HEADERS: usize = 64;
/// A head that comes in drops is not waited for any longer.
const LONGEST_ARRIVAL: Duration = Duration::from_secs(20);

/// A request with its body.
pub struct Request {
    pub method: String,
    /// Path and query as sent.
    pub target: String,
    headers: Vec<(String, String)>,
    pub body: Vec<u8>,
    pub keep_alive: bool,
}

impl Request {
    /// The values of a header, by its name in small letters.
    pub fn header<'r>(&'r self, name: &'r str) -> impl Iterator<Item = &'r str> {
        let headers = self.headers.iter().filter(move |(n, _)| n == name);
        headers.map(|(_, value)| value.as_str())
    }
}

/// Why there is no request.
pub enum Failure {
    Io(io::Error),
    Refused(u16, &'static str),
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Failure {
        Failure::Io(error)
    }
}

/// Reads one request; `None` where the connection ends before one.
pub fn read(stream: &mut impl BufRead) -> Result<Option<Request>, Failure> {
    let begun = Instant::now();
    let mut head = Vec::new();
    loop {
        let chunk = stream.fill_buf()?;
        if chunk.is_empty() {
            return match head.is_empty() {
                true => Ok(None),
                false => Err(Failure::Refused(400, "the request breaks off")),
            };
        }
        // Line by line: what follows the head is the body and stays in the buffer.
        let end = chunk
            .iter()
            .position(|b| *b == b'\n')
            .map_or(chunk.len(), |at| at + 1);
        head.extend_from_slice(&chunk[..end]);
        stream.consume(end);
        if head.len() > LONGEST_HEAD {
            return Err(Failure::Refused(
                431,
                "the head of the request is too large",
            ));
        }
        if head.ends_with(b"\r\n\r\n") || head.ends_with(b"\n\n") {
            break;
        }
        if begun.elapsed() > LONGEST_ARRIVAL {
            return Err(Failure::Refused(408, "the request takes too long"));
        }
    }
    let mut headers = [httparse::EMPTY_HEADER; MOST_HEADERS];
    let mut parsed = httparse::Request::new(&mut headers);
    match parsed.parse(&head) {
        Ok(httparse::Status::Complete(_)) => {}
        Err(httparse::Error::TooManyHeaders) => {
            return Err(Failure::Refused(431, "too many headers"));
        }
        _ => return Err(Failure::Refused(400, "no HTTP/1.1 request")),
    }
    let headers: Vec<(String, String)> = parsed
        .headers
        .iter()
        .map(|h| {
            let value = String::from_utf8_lossy(h.value).trim().to_owned();
            (h.name.to_ascii_lowercase(), value)
        })
        .collect();
    let mut request = Request {
        method: parsed.method.unwrap_or_default().to_owned(),
        target: parsed.path.unwrap_or_default().to_owned(),
        headers,
        body: Vec::new(),
        keep_alive: parsed.version == Some(1),
    };
    if request
        .header("connection")
        .any(|v| v.eq_ignore_ascii_case("close"))
    {
        request.keep_alive = false;
    }
    if request.header("transfer-encoding").next().is_some() {
        return Err(Failure::Refused(411, "state the length of the body"));
    }
    let lengths: Vec<&str> = request.header("content-length").collect();
    let length = match lengths.as_slice() {
        [] => 0,
        [one] if one.bytes().all(|b| b.is_ascii_digit()) => one.parse().unwrap_or(usize::MAX),
        _ => return Err(Failure::Refused(400, "the length of the body is not clear")),
    };
    if length > LONGEST_BODY {
        return Err(Failure::Refused(
            413,
            "the body of the request is too large",
        ));
    }
    request.body = vec![0; length];
    stream.read_exact(&mut request.body)?;
    Ok(Some(request))
}

/// An answer.
pub struct Response {
    pub status: u16,
    kind: &'static str,
    body: Vec<u8>,
    policy: &'static str,
}

/// The page's policy: its own style, scripts, drawings and answers, nothing else (Content Security Policy Level 3, W3C).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// A drawing carries its own style and may do nothing else.
const DRAWING_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

impl Response {
    pub fn new(kind: &'static str, body: impl Into<Vec<u8>>) -> Response {
        Response {
            status: 200,
            kind,
            body: body.into(),
            policy: POLICY,
        }
    }

    pub fn drawing(body: &'static str) -> Response {
        Response {
            policy: DRAWING_POLICY,
            ..Response::new("image/svg+xml", body)
        }
    }

    pub fn json(status: u16, value: &serde_json::Value) -> Response {
        Response {
            status,
            ..Response::new("application/json", value.to_string())
        }
    }

    /// A refusal says nothing of what there is.
    pub fn refusal(status: u16, text: &str) -> Response {
        Response {
            status,
            ..Response::new("text/plain; charset=utf-8", text)
        }
    }

    /// The whole message.
    pub fn bytes(&self, keep_alive: bool) -> Vec<u8> {
        let reason = match self.status {
            200 => "OK",
            400 => "Bad Request",
            403 => "Forbidden",
            404 => "Not Found",
            405 => "Method Not Allowed",
            409 => "Conflict",
            413 => "Content Too Large",
            _ => "Refused",
        };
        let mut out = format!(
            "HTTP/1.1 {} {reason}\r\nContent-Type: {}\r\nContent-Length: {}\r\nConnection: {}\r\n\
             Cache-Control: no-store\r\nContent-Security-Policy: {}\r\nX-Content-Type-Options: nosniff\r\n\
             Referrer-Policy: no-referrer\r\nCross-Origin-Resource-Policy: same-origin\r\n\
             Cross-Origin-Opener-Policy: same-origin\r\nX-Frame-Options: DENY\r\n\r\n",
            self.status,
            self.kind,
            self.body.len(),
            if keep_alive { "keep-alive" } else { "close" },
            self.policy,
        )
        .into_bytes();
        out.extend_from_slice(&self.body);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(text: &str) -> u16 {
        match read(&mut text.as_bytes()) {
            Ok(Some(_)) => 200,
            Ok(None) | Err(Failure::Io(_)) => 0,
            Err(Failure::Refused(status, _)) => status,
        }
    }

    #[test]
    fn bodies_follow_their_heads_and_what_is_out_of_bounds_is_refused() {
        let two = "POST /a HTTP/1.1\r\nContent-Length: 2\r\n\r\nhiGET /b HTTP/1.1\r\n\r\n";
        let mut bytes = two.as_bytes();
        let mut next = || read(&mut bytes).ok().flatten();
        assert_eq!(next().unwrap().body, b"hi");
        assert_eq!(next().unwrap().target, "/b");
        assert!(next().is_none());
        let long = format!("GET /{} HTTP/1.1\r\n\r\n", "a".repeat(20_000));
        for (text, expected) in [
            (long.as_str(), 431),
            ("POST / HTTP/1.1\r\nContent-Length: 99999999\r\n\r\n", 413),
            (
                "POST / HTTP/1.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab",
                400,
            ),
            ("POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n", 400),
            (
                "POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
                411,
            ),
            ("hello\r\n\r\n", 400),
            ("GET / HTTP/1.1\r\n", 400),
        ] {
            assert_eq!(status(text), expected, "{:.60}", text);
        }
    }
}
