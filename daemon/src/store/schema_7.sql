-- What is new of findings, in the order in which it was stored with them: what readers are told.
CREATE TABLE news (
    id INTEGER PRIMARY KEY,
    at_utc_ms INTEGER NOT NULL,
    finding TEXT NOT NULL REFERENCES finding (id),
    what TEXT NOT NULL
) STRICT;
CREATE INDEX news_by_time ON news (at_utc_ms);

-- Mails to readers. One waits while it has a next try; what stands in it is written when it leaves.
-- `period` is the day or month (at the site) of a summary.
CREATE TABLE mail (
    id INTEGER PRIMARY KEY,
    reader TEXT NOT NULL,
    about TEXT NOT NULL,
    period TEXT,
    message_id TEXT NOT NULL UNIQUE,
    made_utc_ms INTEGER NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    next_try_utc_ms INTEGER,
    last_error TEXT,
    sent_utc_ms INTEGER
) STRICT;
CREATE UNIQUE INDEX mail_of_period ON mail (reader, about, period) WHERE period IS NOT NULL;
CREATE INDEX mail_that_waits ON mail (next_try_utc_ms) WHERE next_try_utc_ms IS NOT NULL;
CREATE INDEX mail_by_time ON mail (made_utc_ms);

-- Which news a mail tells.
CREATE TABLE mail_news (
    news INTEGER NOT NULL REFERENCES news (id),
    mail INTEGER NOT NULL REFERENCES mail (id),
    PRIMARY KEY (news, mail)
) STRICT, WITHOUT ROWID;
CREATE INDEX news_of_mail ON mail_news (mail);
