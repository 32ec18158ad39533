//! The real service on a real database that fails: connections cut at every statement, processes killed, copies restored.

#[cfg(test)]
mod cases;
#[cfg(test)]
mod cuts;
mod data;
mod ground;
pub mod kills;
#[cfg(test)]
mod knife;
#[cfg(test)]
mod plans;
#[cfg(test)]
mod pressure;
#[cfg(test)]
mod restore;
#[cfg(test)]
mod rounds;
mod squad;
#[cfg(test)]
mod state;
#[cfg(test)]
mod twins;
#[cfg(test)]
mod wire;

/// Whether the long forms are wanted, as `./dev deep` does; the usual suite runs a short form of each.
#[cfg(test)]
pub fn deep() -> bool {
    std::env::var("LANEWRIGHT_DEEP").is_ok_and(|value| value == "1")
}
