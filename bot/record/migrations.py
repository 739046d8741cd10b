"""The tables of the record, as numbered steps. A step that was released is never edited.

Each step is named by its number. Old files are kept under tests/record/ and must migrate for ever.
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

APPLICATION = 0x53554D50  # "SUMP": tells our files from other programs' databases
MIGRATIONS = Migrations("sumpline")

_UTC = "glob '????-??-??T??:??:??Z'"

_PEOPLE = (
    """create table people (
        id integer primary key autoincrement,
        name text not null, fold text not null unique,
        role text not null check (role in ('rider', 'mechanic', 'admin')),
        settings text not null default '{}',
        at text not null)""",
    """create table handles (
        channel text not null, handle text not null,
        person integer not null references people(id),
        primary key (channel, handle))""",
)

_FLOWS = (
    """create table flows (
        hash text primary key, flow text not null, version integer not null,
        language integer not null, title text not null,
        text text not null, common text not null, form text not null)""",
    # The newest row of a (scope, flow) is the version in use there; older rows are its past.
    f"""create table published (
        id integer primary key autoincrement,
        scope text not null check (scope in ('shipped', 'everyone') or scope glob 'group:?*'),
        flow text not null, hash text not null references flows(hash),
        person integer references people(id),
        at text not null check (at {_UTC}))""",
    "create index published_by_scope on published(scope, flow, id)",
)

_BIKES = (
    """create table bikes (
        id integer primary key autoincrement,
        person integer not null references people(id),
        nickname text not null, fold text not null, traits text not null default '{}',
        at text not null, unique (person, fold))""",
    """create table meters (
        id integer primary key autoincrement,
        bike integer not null references bikes(id),
        kind text not null check (kind in ('hours', 'distance')),
        offset real not null default 0, started text not null, ended text)""",
    "create unique index one_running_meter on meters(bike, kind) where ended is null",
    """create table readings (
        id integer primary key autoincrement,
        meter integer not null references meters(id),
        low real not null, high real not null check (high >= low),
        at text not null, case_id integer references cases(id), seq integer)""",
    """create table book (
        id integer primary key autoincrement,
        bike integer not null references bikes(id), case_id integer references cases(id),
        at text not null, kind text not null, data text not null)""",
)

_CASES = (
    f"""create table cases (
        id integer primary key autoincrement,
        person integer not null references people(id), bike integer references bikes(id),
        flow text references flows(hash), complaint text not null default '',
        opened text not null check (opened {_UTC}), last text not null check (last {_UTC}),
        ended text not null default '')""",
    f"""create table entries (
        case_id integer not null references cases(id), seq integer not null check (seq > 0),
        at text not null check (at {_UTC}), who text not null, role text not null,
        event text not null, primary key (case_id, seq))""",
    # What the core was handed besides the case at a turn, so that the turn can be run again.
    """create table turns (
        case_id integer not null references cases(id), seq integer not null,
        inbox integer not null, desk text not null, primary key (case_id, seq))""",
    """create table seats (
        case_id integer not null references cases(id), person integer not null references people(id),
        channel text not null, chat text not null, thread text not null, at text not null,
        primary key (case_id, person))""",
    """create table current (
        channel text not null, chat text not null, thread text not null,
        person integer not null references people(id),
        case_id integer not null references cases(id),
        primary key (channel, chat, thread, person))""",
)

_POST = (
    f"""create table inbox (
        id integer primary key autoincrement,
        channel text not null, chat text not null, thread text not null, message_id text not null,
        person integer not null references people(id), heard text not null,
        flow text not null default '', at text not null check (at {_UTC}),
        state text not null default 'new' check (state in ('new', 'done', 'dead')),
        tries integer not null default 0, fault text not null default '',
        case_id integer references cases(id), done text,
        unique (channel, chat, message_id))""",
    "create index inbox_waiting on inbox(id) where state = 'new'",
    # priority: 0 safety, 1 answer, 2 reminder; segments and parts are counted by the channel.
    f"""create table outbox (
        id integer primary key autoincrement,
        inbox integer references inbox(id), n integer not null,
        case_id integer references cases(id), person integer not null references people(id),
        channel text not null, address text not null, thread text not null,
        priority integer not null check (priority in (0, 1, 2)),
        text text not null, short text not null, payload text not null,
        segments integer, parts integer,
        state text not null default 'due' check (state in ('due', 'sent', 'given_up')),
        tries integer not null default 0, due text not null check (due {_UTC}),
        at text not null check (at {_UTC}), sent text, unique (inbox, n))""",
    "create index outbox_waiting on outbox(priority, due, id) where state = 'due'",
)

_REST = (
    f"""create table jobs (
        id integer primary key autoincrement, kind text not null, data text not null,
        person integer references people(id), case_id integer references cases(id),
        state text not null default 'new' check (state in ('new', 'running', 'done', 'failed', 'cancelled')),
        tries integer not null default 0, at text not null check (at {_UTC}),
        until text, result text not null default '')""",
    """create table files (
        digest text not null, person integer not null references people(id),
        kind text not null, size integer not null, at text not null,
        primary key (digest, person))""",
    # A mechanic's way into a case; only a digest of the code is kept.
    """create table grants (
        id integer primary key autoincrement,
        case_id integer not null references cases(id), code_digest text unique,
        person integer references people(id), at text not null, until text, used text)""",
    "create table erasing (person integer primary key)",
)

# `insert or replace` deletes the old row; the first trigger stops that for every program,
# also for one that has not switched recursive_triggers on.
_GUARDS = (
    """create trigger entries_in_order before insert on entries
        when new.seq <> (select coalesce(max(seq), 0) + 1 from entries where case_id = new.case_id)
        begin select raise(abort, 'entries follow one another without a gap'); end""",
    """create trigger entries_never_change before update on entries
        begin select raise(abort, 'an entry is never changed'); end""",
    """create trigger entries_stay before delete on entries
        when not exists (select 1 from erasing join cases on cases.id = old.case_id
                where erasing.person = cases.person)
            and not exists (select 1 from erasing join seats on seats.person = erasing.person
                where seats.case_id = old.case_id)
        begin select raise(abort, 'an entry is deleted only with its rider'); end""",
    """create trigger flows_never_change before update on flows
        begin select raise(abort, 'a flow is kept as it was written'); end""",
)


@MIGRATIONS(name="0001")
def lay_tables(db: Database) -> None:
    """All tables of version 1."""
    for statement in (*_PEOPLE, *_FLOWS, *_BIKES, *_CASES, *_POST, *_REST, *_GUARDS):
        db.execute(statement)
    db.execute(f"pragma application_id = {APPLICATION}")


_NETWORK = (
    f"""create table updates (
        id integer primary key autoincrement, channel text not null, number integer not null,
        digest text not null, body text not null, handle text not null default '',
        album text not null default '', due text not null check (due {_UTC}),
        at text not null check (at {_UTC}),
        state text not null default 'new' check (state in ('new', 'done', 'dead')),
        tries integer not null default 0, fault text not null default '',
        unique (channel, number, digest))""",
    "create index updates_waiting on updates(id) where state = 'new'",
    # `asked`: the entry that asks with this message; `receipt`: what the network calls it; `told`: what
    # was answered; `edit_due`: from then on the message no longer looks as it must.
    "alter table outbox add column asked integer not null default 0",
    "alter table outbox add column receipt text not null default ''",
    "alter table outbox add column ticked text not null default ''",
    "alter table outbox add column closed integer not null default 0",
    "alter table outbox add column told text not null default ''",
    "alter table outbox add column edit_due text",
    "create index outbox_edits on outbox(edit_due) where edit_due is not null",
    "create index outbox_standing on outbox(person, case_id) where asked > 0 and closed = 0",
    f"""create table fetches (
        ref text primary key, channel text not null, locator text not null,
        person integer not null references people(id), chat text not null,
        kind text not null, name text not null, digest text not null default '',
        state text not null default 'new' check (state in ('new', 'done', 'failed')),
        tries integer not null default 0, fault text not null default '',
        due text not null check (due {_UTC}), at text not null check (at {_UTC}))""",
    f"""create table links (
        digest text primary key, case_id integer not null references cases(id),
        person integer not null references people(id),
        until text not null check (until {_UTC}), at text not null check (at {_UTC}))""",
    """create table chats (
        channel text not null, chat text not null, reachable integer not null default 1, at text not null,
        primary key (channel, chat))""",
)


@MIGRATIONS(name="0002")
def lay_network(db: Database) -> None:
    """Raw updates, receipts, files to fetch, links and chats."""
    for statement in _NETWORK:
        db.execute(statement)


@MIGRATIONS(name="0003")
def lay_originals(db: Database) -> None:
    """The digest of a file as it came, by which its owner can show it to be his; what a chat is called;
    and a way to the next message of one chat among many.
    """
    db.execute("alter table files add column original text not null default ''")
    db.execute("alter table chats add column title text not null default ''")
    db.execute("create index outbox_lane on outbox(channel, address, priority, id) where state = 'due'")


_REMINDERS = (
    # How often a rider wants to be told; `off`: not at all. A row of a look holds no more than `off`.
    f"""create table intervals (
        bike integer not null references bikes(id), kind text not null check (kind in ('oil', 'look')),
        hours real check (hours > 0), km real check (km > 0), days real check (days > 0),
        off integer not null default 0, at text not null check (at {_UTC}),
        primary key (bike, kind))""",
    # What a person was reminded of, once an occasion. `outbox`: the message that says it, `at`: since when;
    # `laid`: how often it was laid out; `again`: it was put off until then.
    f"""create table reminders (
        id integer primary key autoincrement,
        person integer not null references people(id), bike integer not null references bikes(id),
        kind text not null check (kind in ('oil', 'look')), occasion text not null,
        outbox integer not null references outbox(id), laid integer not null default 1,
        again text check (again {_UTC}), at text not null check (at {_UTC}),
        unique (person, bike, kind, occasion))""",
    "create index reminders_by_message on reminders(outbox)",
    "create index outbox_reminders on outbox(person) where priority = 2",
    "create index book_by_bike on book(bike, id)",
)


@MIGRATIONS(name="0004")
def lay_reminders(db: Database) -> None:
    """Intervals, and what was reminded of; a way to one bike's book."""
    for statement in _REMINDERS:
        db.execute(statement)


_SHARING = (
    # A code is made by the rider, opens the case to one mechanic once, and may be taken back before.
    # `person`: who opened it; `revoked`: when the code or the hold was ended.
    "alter table grants add column made_by integer references people(id)",
    "alter table grants add column revoked text",
    "create index grants_by_case on grants(case_id)",
    # Wrong codes, so that nobody can try them all; rows older than an hour are dropped.
    f"""create table guesses (
        id integer primary key autoincrement, person integer not null references people(id),
        at text not null check (at {_UTC}))""",
    "create index guesses_by_time on guesses(at)",
    "alter table bikes add column vin text not null default ''",
    # How cases came out, by scope and flow text: counts alone, of no case and no person.
    # `cause`: "" for one that the flow does not know.
    """create table outcomes (
        scope text not null, flow text not null, hash text not null references flows(hash),
        cause text not null, cases integer not null check (cases >= 0),
        primary key (scope, hash, cause))""",
    # Whether the stated chances were right: of the causes held to be `bin` tenths likely, how many there
    # were, the sum of the chances, and how often it was that cause.
    """create table calibration (
        scope text not null, flow text not null, hash text not null references flows(hash),
        bin integer not null check (bin between 0 and 9),
        held integer not null, chances real not null, hits integer not null,
        primary key (scope, hash, bin))""",
    # `cases` were scored, their scores add up to `brier`; in `missed` further ones no cause was found.
    """create table scores (
        scope text not null, flow text not null, hash text not null references flows(hash),
        cases integer not null check (cases >= 0), brier real not null,
        missed integer not null check (missed >= 0), primary key (scope, hash))""",
    # What this case added to the counts, to be taken off again when it is reopened; "" for nothing.
    "alter table cases add column counted text not null default ''",
    # Where its outcome counts: the group that it came from when it was opened, else everyone.
    "alter table cases add column scope text not null default 'everyone'",
    # Of a version that took shares over from cases: the author's text that it was made from.
    "alter table published add column made_from text references flows(hash)",
)


_DOORS = (
    # `number`: what a mechanic calls the case on his bench while he holds it.
    "alter table grants add column number integer",
    "create index grants_by_person on grants(person)",
    # The digest of a code that came with a message, until its turn; then that one came. Never the code.
    "alter table inbox add column sealed text not null default ''",
    "create index inbox_tries on inbox(person) where sealed = 'tried'",
    # A mechanic who held a case once has his name in it, also when he has no seat there any more.
    "drop trigger entries_stay",
    """create trigger entries_stay before delete on entries
        when not exists (select 1 from erasing join cases on cases.id = old.case_id
                where erasing.person = cases.person)
            and not exists (select 1 from erasing join seats on seats.person = erasing.person
                where seats.case_id = old.case_id)
            and not exists (select 1 from erasing join grants on grants.person = erasing.person
                where grants.case_id = old.case_id)
        begin select raise(abort, 'an entry is deleted only with its rider'); end""",
)


@MIGRATIONS(name="0005")
def lay_sharing(db: Database) -> None:
    """Codes by which a case is shared, frame numbers, and how cases came out."""
    for statement in (*_SHARING, *_DOORS):
        db.execute(statement)


_PUBLISHING = (
    # When this version was taken out of use in its scope; its text stays for the cases that pin it.
    f"alter table published add column withdrawn text check (withdrawn is null or withdrawn {_UTC})",
    # Everything that admins did to flows, by whom; nothing in it is ever changed, save that a group whose
    # number the network changes keeps its acts, and that one who is erased leaves no name.
    f"""create table acts (
        id integer primary key autoincrement, at text not null check (at {_UTC}),
        person integer references people(id),
        what text not null check (what in
            ('published', 'used_again', 'withdrawn', 'kept', 'dropped', 'shares_taken', 'moved')),
        scope text not null, flow text not null, hash text not null references flows(hash),
        case_id integer references cases(id))""",
    "create index acts_by_flow on acts(flow, id)",
    """create trigger acts_stay before delete on acts
        begin select raise(abort, 'an act is never deleted'); end""",
    """create trigger acts_never_change before update on acts
        when new.at <> old.at or new.what <> old.what or new.flow <> old.flow
            or new.hash <> old.hash or new.person is not null and new.person is not old.person
            or new.case_id is not null and new.case_id is not old.case_id
        begin select raise(abort, 'an act is never changed'); end""",
    # A flow that an admin sent: judged, and then published, kept or dropped by him.
    f"""create table drafts (
        id integer primary key autoincrement, person integer not null references people(id),
        scope text not null, flow text not null, hash text not null references flows(hash),
        at text not null check (at {_UTC}),
        state text not null default 'new' check (state in ('new', 'kept', 'published', 'dropped')))""",
)


@MIGRATIONS(name="0006")
def lay_publishing(db: Database) -> None:
    """Versions that were withdrawn, what admins did to flows, and drafts."""
    for statement in _PUBLISHING:
        db.execute(statement)


_LINKING = (
    # What a person was called before his identity and another became one; nobody else gets that name.
    f"""create table former_names (
        fold text primary key, name text not null, person integer not null references people(id),
        at text not null check (at {_UTC}))""",
    "create index former_names_by_person on former_names(person)",
    # By which name the entries of a case know a person, where that is not the one that he has now.
    """create table called (
        case_id integer not null references cases(id), person integer not null references people(id),
        name text not null, primary key (case_id, person))""",
    # A code that joins a phone number to an account; only a digest of it is kept. `ended`: used or void.
    f"""create table link_codes (
        id integer primary key autoincrement, number text not null,
        person integer not null references people(id), code_digest text not null unique,
        until text not null check (until {_UTC}), ended text, at text not null check (at {_UTC}))""",
    "create index link_codes_by_person on link_codes(person)",
    # A number that was silent for long and is asked whose it is; `inbox`: the message that waits for that.
    f"""create table returns (
        number text primary key, person integer not null references people(id),
        inbox integer not null references inbox(id), tries integer not null default 0,
        at text not null check (at {_UTC}))""",
    # Where a person talked last in private.
    """create table whereabouts (
        person integer primary key references people(id),
        channel text not null, chat text not null, thread text not null)""",
)


@MIGRATIONS(name="0007")
def lay_linking(db: Database) -> None:
    """One person over several channels: former names, codes that join, numbers that come back."""
    for statement in _LINKING:
        db.execute(statement)


_TEXTING = (
    """create table numbers (
        number text primary key, opted_out integer not null default 0, heard text not null default '',
        words text not null default '', same integer not null default 0, late integer not null default 0,
        begun text not null default '', full text not null default '', reminded integer not null default 0,
        paused integer not null default 0, rest text not null default '',
        asked integer not null default 0)""",
    f"""create table heard_texts (key text primary key, at text not null check (at {_UTC}))""",
    f"""create table texts (
        id integer primary key autoincrement, token text not null unique, number text not null,
        person integer references people(id), body text not null, segments integer not null,
        priority integer not null check (priority in (0, 1, 2)), asked integer not null default 0,
        state text not null default 'new'
            check (state in ('new', 'handed', 'sent', 'delivered', 'failed', 'dropped')),
        code integer not null default -1, at text not null check (at {_UTC}), handed text)""",
    "create index texts_waiting on texts(priority, id) where state in ('new', 'handed', 'sent')",
    "create index texts_spent on texts(number, at)",
    "create index outbox_receipts on outbox(receipt) where receipt <> ''",
)


@MIGRATIONS(name="0008")
def lay_texting(db: Database) -> None:
    """Phone numbers, and text messages on their way."""
    for statement in _TEXTING:
        db.execute(statement)


# Every step this version knows; a file with more is newer than we are.
NAMES = frozenset({"0001", "0002", "0003", "0004", "0005", "0006", "0007", "0008"})
