//! Places, of which no caller takes all.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// How many places there are.
#[derive(Clone, Copy, Debug)]
pub(super) struct Most {
    /// For callers from this computer.
    pub here: usize,
    /// For all others together.
    pub elsewhere: usize,
    /// For each of those others.
    pub each: usize,
}

/// Places, those of this computer apart: nobody elsewhere keeps its operator out.
#[derive(Clone)]
pub(super) struct Places(Arc<Inner>);

struct Inner {
    most: Most,
    taken: Mutex<Taken>,
}

#[derive(Default)]
struct Taken {
    here: usize,
    /// By address; who has none is not in it.
    elsewhere: HashMap<IpAddr, usize>,
}

/// A place, free again when dropped.
pub(super) struct Place {
    places: Places,
    /// None for this computer.
    address: Option<IpAddr>,
}

impl Places {
    pub(super) fn new(most: Most) -> Self {
        Self(Arc::new(Inner { most, taken: Mutex::default() }))
    }

    /// A place for a caller from `address`, if it may have one more.
    pub(super) fn take(&self, address: IpAddr) -> Option<Place> {
        let address = Some(address.to_canonical()).filter(|address| !address.is_loopback());
        let Most { here, elsewhere, each } = self.0.most;
        let mut taken = self.taken();
        match address {
            None if taken.here >= here => return None,
            None => taken.here += 1,
            Some(address) => {
                let own = taken.elsewhere.get(&address).copied().unwrap_or(0);
                if own >= each || taken.elsewhere.values().sum::<usize>() >= elsewhere {
                    return None;
                }
                taken.elsewhere.insert(address, own + 1);
            }
        }
        drop(taken);
        Some(Place { places: self.clone(), address })
    }

    fn taken(&self) -> MutexGuard<'_, Taken> {
        self.0.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.taken();
        match self.address {
            None => taken.here -= 1,
            Some(address) => {
                if let Some(own) = taken.elsewhere.get_mut(&address) {
                    *own -= 1;
                }
                taken.elsewhere.retain(|_, own| *own > 0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::net::Ipv4Addr;

    use super::*;

    const MOST: Most = Most { here: 5, elsewhere: 10, each: 4 };

    #[test]
    fn nobody_elsewhere_takes_the_places_of_others_or_of_this_computer() {
        let places = Places::new(MOST);
        let peer = |n: u8| IpAddr::from([192, 168, 0, n]);
        let many = |address: IpAddr| -> Vec<Place> {
            std::iter::from_fn(|| places.take(address)).take(200).collect()
        };
        let greedy = many(peer(1));
        assert_eq!(greedy.len(), 4);
        // The same address, as a socket for both families has it.
        assert!(places.take(Ipv4Addr::new(192, 168, 0, 1).to_ipv6_mapped().into()).is_none());
        let crowd: Vec<Vec<Place>> = (2..9).map(|n| many(peer(n))).collect();
        assert_eq!(crowd.iter().map(Vec::len).sum::<usize>(), 6);
        assert_eq!(many(Ipv4Addr::LOCALHOST.into()).len(), 5);
        drop(greedy);
        assert_eq!(many(peer(9)).len(), 4);
        drop(crowd);
        assert!(places.taken().elsewhere.is_empty());
        assert_eq!(places.taken().here, 0);
    }
}
