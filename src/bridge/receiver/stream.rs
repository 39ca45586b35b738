//! Reaching what JSON Lines are written to: connecting, or being connected to.

use crate::station::settings::feed::Stream;
use std::fs;
use std::io::{self, ErrorKind};
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::Path;
use std::pin::{Pin, pin};
use std::process::Stdio;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, BufReader, ReadBuf};
use tokio::net::{TcpListener, TcpStream, UnixListener, UnixStream};
use tokio::process::{Child, ChildStdin, ChildStdout, Command};
use tokio::time::timeout;

/// A connection has to be there within this time.
const CONNECT: Duration = Duration::from_secs(10);
/// Who connects has to name the key within this time.
const KEY: Duration = Duration::from_secs(5);

/// What can be read and written.
pub trait Both: AsyncRead + AsyncWrite + Send + Unpin + std::fmt::Debug {}
impl<S: AsyncRead + AsyncWrite + Send + Unpin + std::fmt::Debug> Both for S {}

/// A stream's other end, and where it is waited for.
#[derive(Debug)]
pub(super) struct Reach {
    stream: Stream,
    tcp: Option<TcpListener>,
    unix: Option<UnixListener>,
}

impl Reach {
    pub(super) fn new(stream: Stream) -> Self {
        Self { stream, tcp: None, unix: None }
    }

    /// Whether the other end comes here.
    pub(super) fn listens(&self) -> bool {
        matches!(self.stream, Stream::TcpListen(..) | Stream::UnixListen(_))
    }

    /// Reaches the other end; waits as long as it takes where that has to come here.
    pub(super) async fn open(&mut self) -> Result<Box<dyn Both>, String> {
        match &self.stream {
            Stream::Tcp(to) => {
                let connected = timeout(CONNECT, TcpStream::connect(to)).await;
                let stream = connected.map_err(|_| format!("{to}: no answer"))?;
                Ok(Box::new(at_once(stream.map_err(|why| cannot(to, &why))?)))
            }
            Stream::Unix(path) => {
                let connected = UnixStream::connect(path).await;
                Ok(Box::new(connected.map_err(|why| cannot(&path.display().to_string(), &why))?))
            }
            Stream::Program(words) => Ok(Box::new(Program::start(words)?)),
            Stream::TcpListen(at, key) => {
                if self.tcp.is_none() {
                    let bound = TcpListener::bind(at).await;
                    self.tcp = Some(bound.map_err(|why| format!("cannot listen at {at}: {why}"))?);
                }
                let listener = self.tcp.as_ref().expect("it listens since just now");
                loop {
                    let (stream, from) = listener.accept().await.map_err(|why| format!("at {at}: {why}"))?;
                    let mut stream = at_once(stream);
                    match key {
                        Some(key) if !knows(&mut stream, key).await => {
                            tracing::warn!(%from, "a receiver was turned away: it does not know the key");
                        }
                        _ => return Ok(Box::new(stream)),
                    }
                }
            }
            Stream::UnixListen(path) => {
                if self.unix.is_none() {
                    self.unix = Some(
                        listen(path).map_err(|why| format!("cannot listen at {}: {why}", path.display()))?,
                    );
                }
                let listener = self.unix.as_ref().expect("it listens since just now");
                let accepted = listener.accept().await;
                Ok(Box::new(accepted.map_err(|why| format!("at {}: {why}", path.display()))?.0))
            }
        }
    }
}

impl Drop for Reach {
    fn drop(&mut self) {
        if let (Stream::UnixListen(path), Some(_)) = (&self.stream, &self.unix) {
            // A socket that nobody listens at is replaced at the next start anyway.
            let _ = fs::remove_file(path);
        }
    }
}

fn cannot(to: &str, why: &io::Error) -> String {
    match why.kind() {
        ErrorKind::ConnectionRefused => format!("{to}: nobody listens there"),
        ErrorKind::NotFound => format!("{to}: there is no such socket"),
        _ => format!("{to}: {why}"),
    }
}

/// Small messages go out as they come.
fn at_once(stream: TcpStream) -> TcpStream {
    // Without it all still arrives, only later.
    let _ = stream.set_nodelay(true);
    stream
}

/// Whether the first line is the key.
async fn knows(stream: &mut TcpStream, key: &[u8]) -> bool {
    let mut line = Vec::new();
    let mut limited = BufReader::with_capacity(1, stream).take(key.len() as u64 + 2);
    let read = timeout(KEY, limited.read_until(b'\n', &mut line)).await;
    matches!(read, Ok(Ok(_)))
        && line.ends_with(b"\n")
        && super::super::signature::same(line.trim_ascii(), key)
}

/// Listens at a socket's path; one that nobody listens at any more is replaced.
fn listen(path: &Path) -> io::Result<UnixListener> {
    let listener = match UnixListener::bind(path) {
        Err(why) if why.kind() == ErrorKind::AddrInUse && is_left_over(path) => {
            fs::remove_file(path)?;
            UnixListener::bind(path)?
        }
        bound => bound?,
    };
    // The station's user and group.
    fs::set_permissions(path, fs::Permissions::from_mode(0o660))?;
    Ok(listener)
}

fn is_left_over(path: &Path) -> bool {
    let is_socket = fs::symlink_metadata(path).is_ok_and(|meta| meta.file_type().is_socket());
    let refused = std::os::unix::net::UnixStream::connect(path)
        .is_err_and(|why| why.kind() == ErrorKind::ConnectionRefused);
    is_socket && refused
}

/// A program: what it is told goes into its standard input, what it answers comes from its
/// standard output. It is there until it ends, whatever it does with its output. At the feed's end
/// its input ends, and it may end in its own time; it is killed where it does not.
#[derive(Debug)]
struct Program {
    stdin: Option<ChildStdin>,
    stdout: ChildStdout,
    child: Child,
}

impl Program {
    fn start(words: &[String]) -> Result<Self, String> {
        let (program, arguments) = words.split_first().ok_or("no program is named")?;
        let mut child = Command::new(program)
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .kill_on_drop(true)
            .spawn()
            .map_err(|why| format!("{program} cannot be started: {why}"))?;
        let (Some(stdin), Some(stdout)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(format!("{program} has no standard input and output"));
        };
        Ok(Self { stdin: Some(stdin), stdout, child })
    }

    fn poll_ended(&mut self, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        pin!(self.child.wait()).poll(context).map_ok(drop)
    }

    fn stdin(&mut self) -> io::Result<Pin<&mut ChildStdin>> {
        self.stdin.as_mut().map(Pin::new).ok_or_else(|| ErrorKind::BrokenPipe.into())
    }
}

impl AsyncRead for Program {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        ready!(Pin::new(&mut self.stdout).poll_read(context, buffer))?;
        if buffer.filled().len() > before { Poll::Ready(Ok(())) } else { self.poll_ended(context) }
    }
}

impl AsyncWrite for Program {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.stdin()?.poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.stdin()?.poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        // What ends a pipe is that it is closed.
        self.stdin = None;
        self.poll_ended(context)
    }
}
