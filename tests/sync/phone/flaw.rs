//! What a phone may do wrong: each breaks a sentence of the guide, and the rehearsal must see it.

/// Something that a phone does wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(dead_code)] // the simulations want it right
pub enum Flaw {
    /// It pulls before it pushes.
    PullsFirst,
    /// It sends the newest items first.
    NewestFirst,
    /// It stops after the first page.
    OnePage,
    /// It does not keep the token.
    NoToken,
    /// It keeps the members that it knows and no others.
    KnownMembersOnly,
    /// It applies a page that answers another token.
    AppliesLatePage,
    /// It does not apply a record that it has already.
    FirstIsGood,
    /// It keeps what lies below a removed record.
    ChildrenStay,
    /// It drops whatever has the id of a removed record.
    RemovesById,
    /// It takes items out of the outbox when their record is removed.
    OutboxTouched,
    /// It keeps what a full copy did not name.
    StaleStays,
    /// It empties the outbox when it must copy afresh.
    AfreshForgets,
    /// It does not put the journal back.
    JournalStays,
    /// It puts the journal back behind what is in the outbox.
    JournalBehind,
    /// It empties the journal by its own clock.
    JournalByClock,
    /// It sends refused items again.
    RefusedAgain,
    /// It insists under the old operation.
    InsistsAsBefore,
    /// It insists on the old version.
    InsistsOnOldRev,
    /// It drops what waits for a parent.
    WaitingDropped,
    /// It parks what finds no room.
    NoRoomParked,
    /// It keeps what is held in the outbox.
    HeldAgain,
    /// It goes on after 429 and 503.
    GoesOn,
    /// It waits for a second, whatever it was told.
    NoPatience,
    /// It gives an item that it sends again another operation.
    NewOperation,
    /// It changes an item that it sends again.
    ChangesItem,
    /// It believes that what was not answered is stored.
    LostIsStored,
    /// It sends only the first of the items again that were not answered.
    FirstAgain,
    /// It takes half a page for an empty one.
    CutIsEmpty,
    /// It sends what was refused as a whole again as it was.
    NoHalves,
    /// It sends all items at once.
    OnePush,
    /// It sends an edit with what creates its record.
    EditAtOnce,
    /// It does not give a returned version to later items.
    NoFollowing,
    /// It names what it shows, not its own edit whose echo has not come.
    NoOwnRev,
    /// It gives a returned version to items of other field groups.
    FollowsAll,
    /// It sends several field groups of an athlete in one item.
    GroupsTogether,
    /// It forgets the outbox with the sign-in.
    SignedOutForgets,
    /// An app that was revoked keeps what it has.
    RevokedKeeps,
    /// It keeps showing the club that its member has left.
    LeftKeepsCopy,
    /// It does not hand the journal in when its member has left.
    LeftWithoutJournal,
    /// It keeps what is about an athlete who was erased.
    ErasedStays,
    /// It calls itself otherwise in each push.
    NewDevice,
}
