//! `coilrig live`: the live page.

use std::io::Write;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::lesson::{Lie, Surveyed};
use coilrig_analysis::locate;
use tokio::net::TcpListener;
use tokio::sync::watch;

use super::{CAUTIONS, Outcome, load_calibration, load_for_captures};
use crate::calibration::Calibration;
use crate::emulator::{self, EmulatorHandle};
use crate::error::{Error, Result};
use crate::live::hub::Hub;
use crate::live::invitation;
use crate::live::orders::orders;
use crate::live::receiver::Use;
use crate::live::server::{self, Class, Keys, Shared};
use crate::live::source::{self, Listening, Running};
use crate::{files, limits_file, placed_readings, runtime};

/// Show in a browser what the rig hears now
///
/// Serves one page: the spectrum around 457 kHz, the pulses of each unit on a time
/// line, a table of the units held against limits, the field vector of one of them, and
/// the state of receiver and recording. It needs no internet. The first line on standard
/// output is the operator's link, which works on this computer alone.
///
/// With --share the page can be seen from phones and other computers in the same
/// network: whoever opens the second link, or scans its code, may look, and only the
/// operator may record. Links are new at each start. The connection is not encrypted:
/// share in a network of your own.
///
/// Ctrl-C ends it, and a recording that is under way is kept.
#[derive(Args)]
#[command(after_long_help = "\
Examples:
  coilrig live --port /dev/ttyACM0 --calibration CR-0001.toml --out today
  coilrig live --scenario captures/demo.toml --share
  coilrig live --capture unit-7 --speed 4")]
pub struct Live {
    /// Port of the receiver; `coilrig ports` lists them
    #[arg(long, value_name = "PATH", required_unless_present_any = ["capture", "scenario"])]
    #[arg(conflicts_with_all = ["capture", "scenario"])]
    port: Option<PathBuf>,
    /// Play a capture
    #[arg(long, value_name = "NAME", conflicts_with = "scenario")]
    capture: Option<PathBuf>,
    /// How many times as fast as it was recorded
    #[arg(long, value_name = "N", requires = "capture", default_value_t = 1.0, value_parser = speed)]
    speed: f64,
    /// Listen to an emulated receiver in this scene
    #[arg(long, value_name = "FILE")]
    scenario: Option<PathBuf>,
    /// Calibration file of the receiver; without it fields are in counts. That of a
    /// scenario's receiver is known
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Gain step of the receiver
    #[arg(long, value_name = "STEP", default_value_t = 0, conflicts_with = "capture")]
    gain: u8,
    /// Folder for recordings from the page
    #[arg(long, value_name = "FOLDER", conflicts_with = "capture")]
    out: Option<PathBuf>,
    /// Readings at places (as for `coilrig locate`) to show over the computed lines of
    /// the class view
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,
    /// Limits to hold units against: a published set's name or a TOML file
    #[arg(long, value_name = "NAME")]
    limits: Option<String>,
    /// Let others in the same network look, by a link of their own
    #[arg(long)]
    share: bool,
    /// TCP port of the page; 0 takes a free one
    #[arg(long, value_name = "N", default_value_t = 4570)]
    web_port: u16,
}

/// Run the command.
pub fn run(args: Live) -> Result<Outcome> {
    eprintln!("{CAUTIONS}");
    let limits = limits_file::find(args.limits.as_deref(), None)?;
    let surveyed = args.readings.as_deref().map(surveyed).transpose()?;
    if let Some(folder) = &args.out {
        files::make_folder(folder)?;
    }
    runtime::run(async {
        let stopped = runtime::stop_signal()?;
        let (listener, address) = listen(args.share, args.web_port).await?;
        let hub = Hub::default();
        let (stop, stopping) = watch::channel(false);
        let listening = Listening { hub: hub.clone(), limits, stop: stopping };
        let (orders, ordered) = orders();
        let mut emulated: Option<EmulatorHandle> = None;
        let (running, takes_orders) = if let Some(path) = &args.capture {
            let calibration = load_for_captures(args.calibration.as_deref())?;
            (source::capture(path, calibration.as_ref(), args.speed, &listening)?, false)
        } else {
            let (port, known) = match (&args.port, &args.scenario) {
                (Some(port), _) => (port.clone(), None),
                (None, Some(path)) => {
                    let (emulator, known) = emulate(path)?;
                    let port = emulator.device().to_owned();
                    emulated = Some(emulator);
                    (port, Some(known))
                }
                (None, None) => return Err(Error::usage("nothing to listen to", "give --port")),
            };
            let calibration = match &args.calibration {
                Some(path) => Some((path.clone(), load_calibration(path)?)),
                None => known,
            };
            if calibration.is_none() {
                eprintln!("no --calibration: fields are in counts");
            }
            let using = Use { gain_step: args.gain, calibration, folder: args.out.clone() };
            (source::receiver(&port, using, listening, ordered)?, true)
        };
        let keys = Keys::random(address, args.share)?;
        invite(&keys, address)?;
        let shared = Shared::new(hub, keys, takes_orders.then_some(orders), Class::new(surveyed));
        let serving = server::serve(listener, server::router(&shared));
        let Running { thread, ended } = running;
        // A capture that is over can still be looked at.
        let trouble = async {
            if !takes_orders || ended.await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        tokio::select! {
            () = serving => {}
            () = stopped => {}
            () = trouble => {}
        }
        // The receiver's thread may hold a recording; that of a replay holds nothing, but may
        // have failed.
        let _ = stop.send(true);
        if takes_orders || thread.is_finished() {
            thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
        }
        emulated.map_or(Ok(()), EmulatorHandle::shutdown)
    })?;
    Ok(Outcome::Done)
}

/// Readings for the class, and how the unit in them lies.
fn surveyed(path: &Path) -> Result<(Surveyed, Lie)> {
    let table = placed_readings::read(path)?;
    let location = locate::analyse(&table.readings, &locate::Options::default()).map_err(|e| {
        let remedy = "see what `coilrig locate` says of the table";
        Error::file(path.display(), e.to_string(), remedy)
    })?;
    Ok(Surveyed::of(table.readings, &location))
}

/// An emulated receiver, and what a faultless laboratory would know of it.
fn emulate(path: &Path) -> Result<(EmulatorHandle, (PathBuf, Calibration))> {
    let scenario = emulator::load(path)?;
    let today = jiff::ZonedDateTime::now().date().to_string();
    let known = (path.to_owned(), emulator::calibration(&scenario, &today));
    let options = emulator::Options {
        watcher: Some(Box::new(|event| eprintln!("{event}"))),
        ..emulator::Options::default()
    };
    Ok((emulator::spawn(&scenario, options)?, known))
}

async fn listen(share: bool, port: u16) -> Result<(TcpListener, SocketAddr)> {
    let host = if share { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
    let wanted = SocketAddr::from((host, port));
    let refused = |e: std::io::Error| {
        let what = format!("cannot serve the page: {e}");
        Error::receiver(wanted, what, "give another --web-port, or 0 for a free one")
    };
    let listener = TcpListener::bind(wanted).await.map_err(refused)?;
    let address = listener.local_addr().map_err(refused)?;
    Ok((listener, address))
}

/// The operator's link on standard output, and below it those of viewers.
fn invite(keys: &Keys, address: SocketAddr) -> Result<()> {
    let own = SocketAddr::from((Ipv4Addr::LOCALHOST, address.port()));
    let mut text = invitation::link(own, "operate", &keys.operator.to_string()) + "\n";
    let viewer = keys.viewer.map(|key| key.to_string());
    if let Some(key) = &viewer {
        let reachable = invitation::reachable()?;
        let at = |ip| invitation::link(SocketAddr::new(ip, address.port()), "view", key);
        let links: Vec<String> = reachable.into_iter().map(at).collect();
        links.iter().for_each(|link| text += &format!("{link}\n"));
        match links.first() {
            Some(first) => {
                eprintln!("{}\nscan to look, or open {first}", invitation::qr_code(first)?)
            }
            None => {
                text += &(invitation::link(own, "view", key) + "\n");
                eprintln!("coilrig: this computer is in no network; only it can see the page");
            }
        }
    }
    let mut out = std::io::stdout();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Error::io("standard output".as_ref(), "write to", &e))?;
    eprintln!("open the first link on this computer; Ctrl-C ends the page");
    Ok(())
}

fn speed(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (0.01..=1000.0).contains(&speed) => Ok(speed),
        _ => Err("give a number from 0.01 to 1000, as 4".into()),
    }
}
