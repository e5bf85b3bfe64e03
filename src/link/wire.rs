//! Lines that carry bytes one after the other.

use crate::device::{Flow, Link};
use serialport::{FlowControl, SerialPort};
use std::io::{self, ErrorKind, Read, Write};
use std::net::{Shutdown, TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

/// How long a connection may take.
const CONNECT: Duration = Duration::from_secs(10);

/// One try at handing bytes over takes no longer, so that a pause or a stop is heeded meanwhile.
const TRY: Duration = Duration::from_millis(200);

/// How long a machine may take to close its side once all was sent; most say nothing at all.
const RECEIPT: Duration = Duration::from_secs(3);

/// A line to a machine.
pub trait Wire {
    /// Hands over some of the bytes and says how many; [`ErrorKind::TimedOut`] where the machine takes none for now.
    ///
    /// # Errors
    /// The line is lost.
    fn hand(&mut self, bytes: &[u8]) -> io::Result<usize>;

    /// Bytes that were handed over and are still in this computer, where that is known.
    fn waiting(&self) -> usize;

    /// All was handed over: waits until it has left, not longer than `patience`. Whether the machine closed the line
    /// in good order, which is the only receipt there is.
    ///
    /// # Errors
    /// The line was lost after all.
    fn finish(&mut self, patience: Duration) -> io::Result<bool>;
}

/// Opens a line; `None` for links that take files whole.
///
/// # Errors
/// No such host or port, or nobody answers there.
pub fn open(link: &Link) -> io::Result<Option<Box<dyn Wire>>> {
    Ok(match link {
        Link::Tcp { host, port } => Some(Box::new(Tcp::connect(host, *port)?)),
        Link::Serial { port, baud, flow } => {
            let flow = match flow {
                Flow::RtsCts => FlowControl::Hardware,
                Flow::XonXoff => FlowControl::Software,
            };
            let port = serialport::new(port.as_str(), *baud).flow_control(flow).timeout(TRY).open()?;
            Some(Box::new(Serial(port)))
        }
        Link::Queue { .. } | Link::Folder { .. } => None,
    })
}

struct Tcp(TcpStream);

impl Tcp {
    fn connect(host: &str, port: u16) -> io::Result<Self> {
        let mut trouble = io::Error::new(ErrorKind::NotFound, "no such host");
        for address in (host, port).to_socket_addrs()? {
            match TcpStream::connect_timeout(&address, CONNECT) {
                Ok(stream) => {
                    stream.set_write_timeout(Some(TRY))?;
                    stream.set_nodelay(true)?;
                    return Ok(Self(stream));
                }
                Err(error) => trouble = error,
            }
        }
        Err(trouble)
    }

    /// Whether the machine has closed its side; what it says besides is not asked for.
    fn closed(&mut self) -> io::Result<bool> {
        self.0.set_nonblocking(true)?;
        let closed = loop {
            match self.0.read(&mut [0; 256]) {
                Ok(0) => break Ok(true),
                Ok(_) => {}
                Err(e) if e.kind() == ErrorKind::WouldBlock => break Ok(false),
                Err(e) => break Err(e),
            }
        };
        self.0.set_nonblocking(false)?;
        closed
    }
}

impl Wire for Tcp {
    fn hand(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.closed()? {
            return Err(io::Error::new(ErrorKind::ConnectionAborted, "the machine closed the line"));
        }
        self.0.write(bytes).map_err(|e| match e.kind() {
            ErrorKind::WouldBlock => ErrorKind::TimedOut.into(),
            _ => e,
        })
    }

    fn waiting(&self) -> usize {
        0
    }

    fn finish(&mut self, _: Duration) -> io::Result<bool> {
        self.0.shutdown(Shutdown::Write)?;
        let until = Instant::now() + RECEIPT;
        while Instant::now() < until {
            if self.closed()? {
                return Ok(true);
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Ok(false)
    }
}

struct Serial(Box<dyn SerialPort>);

impl Wire for Serial {
    fn hand(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self.0.write(bytes) {
            Ok(0) => Err(ErrorKind::TimedOut.into()),
            other => other,
        }
    }

    fn waiting(&self) -> usize {
        self.0.bytes_to_write().map_or(0, |count| count as usize)
    }

    fn finish(&mut self, patience: Duration) -> io::Result<bool> {
        // Not `flush`, which waits for ever for a machine that said "wait".
        let until = Instant::now() + patience;
        while self.waiting() > 0 {
            if Instant::now() >= until {
                return Err(ErrorKind::TimedOut.into());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Ok(false)
    }
}
