//! Who may ask: the browser page that was opened by the address printed, and nobody else.

use super::request::Request;

/// What a request must show.
pub struct Guard {
    token: String,
    port: u16,
}

impl Guard {
    /// For a server on this port.
    pub fn new(token: String, port: u16) -> Guard {
        Guard { token, port }
    }

    /// The address of the page.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// The path behind the token, or status and text of the refusal.
    pub fn admit<'r>(&self, request: &'r Request) -> Result<&'r str, (u16, &'static str)> {
        // A name that another site has made point to this machine is not ours.
        let mut hosts = request.header("host");
        if !(hosts.next().is_some_and(|host| self.is_here(host)) && hosts.next().is_none()) {
            return Err((403, "wrong host"));
        }
        let own = |origin: &str| {
            let host = origin.strip_prefix("http://");
            host.is_some_and(|host| self.is_here(host))
        };
        if !request.header("origin").all(own) {
            return Err((403, "wrong origin"));
        }
        if request
            .header("sec-fetch-site")
            .any(|site| !matches!(site, "same-origin" | "none"))
        {
            return Err((403, "wrong origin"));
        }
        let path = request.target.strip_prefix('/').unwrap_or_default();
        let (token, path) = path.split_once('/').unwrap_or((path, ""));
        if !same(token, &self.token) {
            return Err((
                403,
                "wrong token: open the address that the program printed",
            ));
        }
        if request.method == "POST" {
            let json = |kind: &str| {
                kind.split(';')
                    .next()
                    .is_some_and(|k| k.trim() == "application/json")
            };
            if !request.header("content-type").all(json)
                || request.header("content-type").next().is_none()
            {
                return Err((403, "a change is JSON"));
            }
        } else if request.method != "GET" {
            return Err((405, "only GET and POST"));
        }
        Ok(path)
    }

    fn is_here(&self, host: &str) -> bool {
        let port = host
            .strip_prefix("127.0.0.1:")
            .or_else(|| host.strip_prefix("localhost:"));
        port == Some(self.port.to_string().as_str())
    }
}

/// Compares in a time that does not depend on where the texts differ.
fn same(one: &str, other: &str) -> bool {
    let pairs = one.bytes().zip(other.bytes());
    one.len() == other.len() && pairs.fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}

/// 128 random bits of the operating system, as hexadecimal digits.
///
/// # Errors
/// The system gives none.
pub fn random_token() -> std::io::Result<String> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
    Ok(crate::files::hex(&bytes))
}

#[cfg(test)]
mod tests {
    use super::super::request::read;
    use super::*;

    fn status(head: &str) -> Result<String, u16> {
        let guard = Guard::new("secret".into(), 8123);
        let text = format!("{}\r\n\r\n", head.replace('\n', "\r\n"));
        let Ok(Some(request)) = read(&mut text.as_bytes()) else {
            panic!("{head}");
        };
        guard.admit(&request).map(str::to_owned).map_err(|e| e.0)
    }

    #[test]
    fn only_the_address_printed_is_let_in() {
        let fine = "GET /secret/state?after=3 HTTP/1.1\nHost: 127.0.0.1:8123";
        assert_eq!(status(fine), Ok("state?after=3".into()));
        assert_eq!(
            status(&fine.replace("127.0.0.1", "localhost")),
            Ok("state?after=3".into())
        );
        let post = "POST /secret/edit HTTP/1.1\nHost: 127.0.0.1:8123\nOrigin: http://127.0.0.1:8123\nContent-Type: application/json";
        assert_eq!(status(post), Ok("edit".into()));
        for wrong in [
            fine.replace("secret", "secres"),
            fine.replace("/secret/", "/"),
            fine.replace("secret", "secret2"),
            fine.replace("127.0.0.1", "bench.example"),
            fine.replace("8123", "8124"),
            fine.replace("\nHost: 127.0.0.1:8123", ""),
            format!("{fine}\nHost: bench.example"),
            format!("{fine}\nOrigin: http://bench.example"),
            format!("{fine}\nOrigin: null"),
            format!("{fine}\nSec-Fetch-Site: cross-site"),
            post.replace("http://127.0.0.1:8123", "https://127.0.0.1:8123"),
            post.replace("application/json", "text/plain"),
            post.replace("\nContent-Type: application/json", ""),
        ] {
            assert_eq!(status(&wrong), Err(403), "{wrong}");
        }
        assert_eq!(status(&fine.replace("GET", "PUT")), Err(405));
    }
}
