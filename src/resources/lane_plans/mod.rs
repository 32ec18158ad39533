//! Lane plans: the lanes to set out for a session and who runs where, with the set-out sheet the cards of those who
//! come, and a proposal of what to do.

mod alternatives;
mod answer;
mod cards;
mod cards_http;
mod cards_page;
mod cards_store;
mod http;
mod judge;
mod links_http;
mod links_store;
pub mod model;
mod problem;
mod proposal;
mod proposal_http;
pub mod request;
mod session_store;
mod set_out;
mod set_out_page;
pub mod shapes;
mod sheets;
mod sight;
mod stock;
mod store;
pub mod sync;

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    set_out::routes(config);
    cards_http::routes(config);
    proposal_http::routes(config);
    links_http::routes(config);
}
