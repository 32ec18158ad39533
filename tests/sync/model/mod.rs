//! A pure model of server and phones.
