//! What the document says of scopes and roles, from the table of acts.

use crate::platform::access::{ACTS, ALL_SCOPES, Role};

/// An act as the document lists it.
#[derive(Debug)]
pub struct Listed {
    /// The scope that a token needs.
    pub scope: &'static str,
    /// The roles that may.
    pub roles: &'static [Role],
    /// What it is.
    pub means: &'static str,
}

/// The words of the roles that may what these scopes open.
pub fn roles_of(scopes: &[String]) -> Vec<&'static str> {
    let opened = |act: &&Listed| scopes.iter().any(|scope| scope == act.scope);
    let roles = ACTS.iter().find(opened).map_or(&[][..], |act| act.roles);
    roles.iter().map(|role| role.as_str()).collect()
}

/// Each scope with what it opens.
pub fn all() -> Vec<(&'static str, String)> {
    let one = |scope: &'static str| {
        let means: Vec<&str> = ACTS.iter().filter(|act| act.scope == scope).map(|act| act.means.trim()).collect();
        (scope, format!("{} Roles: {}.", means.join(" "), roles_of(&[scope.to_owned()]).join(", ")))
    };
    ALL_SCOPES.split(' ').map(one).collect()
}

/// The same, one line each, for the document.
pub fn described() -> String {
    all().into_iter().map(|(scope, means)| format!("- `{scope}`: {means}")).collect::<Vec<_>>().join("\n")
}
