//! Faults that are built into the model on purpose: whatever finds nothing in them proves nothing.

macro_rules! flaws {
    ($($(#[$doc:meta])* $name:ident = $words:literal,)*) => {
        /// A fault of the server or of the phone.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Flaw { $($(#[$doc])* $name,)* }

        impl Flaw {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// What is wrong, in words.
            pub fn words(self) -> &'static str {
                match self { $(Self::$name => $words,)* }
            }
        }
    };
}

flaws! {
    Sequence = "numbers from a plain sequence, taken when a row is written",
    ClockFirst = "the counter is raised first, in a transaction of its own",
    TornRead = "the counter is read after the slice of the log, in another snapshot",
    NoEpoch = "a restored copy goes on in the same epoch",
    NoJump = "a new epoch without a hole in the numbers",
    SameJump = "each new epoch leaves an equal hole, also from a copy that is restored twice",
    OldTokensStay = "tokens below the fork stay valid in a new epoch",
    AckBeforeCommit = "a push is answered before its commit",
    ReceiptHoldsVersion = "an item that is repeated with the version of an earlier one counts as another",
    NoReceipt = "edits leave no receipt",
    NoRefusal = "refusals leave no receipt",
    ReceiptApart = "the receipt is written in another transaction",
    ReceiptAcrossClubs = "receipts are not kept by club",
    NoEntry = "a root that enters comes without what lies below it",
    NoReset = "no removal before a root that enters or is granted",
    NoMovedOut = "no removal when a root moves out of sight",
    NowForEver = "a move out is told to those who see the old scope now, not to all who ever did",
    NowForThen = "entering is judged by the grants of now, not by those at the row",
    NoGrantRow = "a grant sends nothing",
    NoRevokeRow = "the end of a grant removes nothing",
    GrantIgnoresLeft = "a grant leaves out the roots that left its scope later",
    ReadsDeleted = "a deleted record is sent with its data",
    StubKeepsData = "a deletion keeps the data in the stub",
    RowCutLost = "a page that is cut inside a row goes on after the row",
    WalkFromEnd = "a full copy goes on from the counter at its end",
    WidenForgets = "types that are asked for later are not copied",
    LateSent = "what is about a day before history_from is sent when it arrives late",
    DayMovesAlone = "a session whose day moves over history_from takes nothing along",
    RetentionSilent = "a token older than the log is answered with a page",
    BudgetIgnored = "a page reads the log without a limit",
    TokenAnyMember = "tokens are not bound to the member",
    TokenAnyClub = "tokens are not bound to the club",
    TokenUnsealed = "edited tokens are believed",
    BaseOffByOne = "a field group is merged when it changed just after the base",
    BaseIgnored = "a field group is always overwritten",
    MatchIgnored = "if_match is ignored",
    MatchOptional = "an edit without a version is carried out",
    CheckBeforeLock = "a version is compared before the row is locked",
    ChainAllGroups = "a later item of a push follows the version of an earlier one of other field groups",
    ClockDecides = "the later clock wins a merge",
    SetAddsTwice = "adding to a set twice makes two changes",
    HeldDropped = "a held fact is answered but not stored",
    FactRefused = "a fact whose parent is hidden is refused",
    LeftRefused = "a fact of somebody who left is refused",
    FactReplaced = "a fact with a known id and other content replaces it",
    RefusedForgotten = "a value that lost a merge is not kept",
    PoisonSpreads = "a broken item takes the rest of its transaction along",
    NoFromCheck = "the phone applies a page that answers an older token",
    TokenApart = "the phone stores the token before the changes, in another transaction",
    JournalKept = "the phone does not put the journal back after history-diverged",
    JournalByClock = "the phone empties its journal by its own clock",
    LateAck = "the phone believes an answer to a push that it gave up",
    ChildrenStay = "the phone keeps what lies below a removed root",
    StaleStays = "the phone keeps stale records after a full copy",
    PhoneChainsAll = "the phone gives a returned version to items of other field groups",
    DependentDropped = "the phone drops items that wait for another",
    NewOpOnRetry = "the phone gives a repeated item a new op_id",
}
