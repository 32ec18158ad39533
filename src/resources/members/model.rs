//! Members, invitations and their rules.

use chrono::{DateTime, Duration, Utc};

use crate::platform::access::Role;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AccountId, ClubId, GroupId};

/// How long an invitation stands.
pub const INVITATION_LIFE: Duration = Duration::days(14);
/// Most groups of one member.
const MAX_GROUPS: usize = 200;

/// A role with the groups it covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assignment {
    /// The role.
    pub role: Role,
    /// The groups, sorted; empty for an admin, who sees all.
    pub groups: Vec<GroupId>,
}

/// A member of a club.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Member {
    /// How the person is called.
    pub display_name: String,
    /// The address they sign in with.
    pub email: String,
    /// What they may do and see.
    pub assignment: Assignment,
}

/// A place in a club for one e-mail address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// The address of the account that may take it.
    pub email: String,
    /// What the new member may do and see.
    pub assignment: Assignment,
    /// Until when.
    pub expires_at: DateTime<Utc>,
    /// The admin who made it; unknown of old ones.
    pub invited_by: Option<AccountId>,
    /// Whether it cannot be taken any more: that admin is none now, or an admin has said since what its owner may.
    pub void: bool,
}

/// What became of taking an invitation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Accepted {
    /// Joined the club.
    Joined(ClubId),
    /// Whoever made it is no longer an admin, or it was overtaken.
    Void,
}

impl Assignment {
    /// Parses a role with its groups.
    ///
    /// # Errors
    /// Groups for an admin, none for others, too many.
    pub fn parse(role: Role, groups: &[GroupId]) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let mut groups = groups.to_vec();
        groups.sort_unstable();
        groups.dedup();
        match role {
            Role::Admin if !groups.is_empty() => {
                faults.add("/group_ids", "groups", "must be empty for an admin, who sees every group");
            }
            Role::Coach | Role::Viewer if groups.is_empty() => {
                faults.add("/group_ids", "groups", "must name at least one group for a coach or viewer");
            }
            _ if groups.len() > MAX_GROUPS => {
                faults.add("/group_ids", "length", format!("must name at most {MAX_GROUPS} groups"));
            }
            _ => {}
        }
        faults.finish(Some(Self { role, groups }))
    }
}
