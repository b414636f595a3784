-- What leaves is not mails alone: a delivery goes a way (mail, webhook, mqtt) to a target on it (an
-- address, the name of a webhook, the broker). `stable_id` is the same at every try; of a mail it is
-- its Message-ID.
ALTER TABLE mail RENAME TO delivery;
ALTER TABLE delivery RENAME COLUMN reader TO target;
ALTER TABLE delivery RENAME COLUMN message_id TO stable_id;
ALTER TABLE delivery ADD COLUMN way TEXT NOT NULL DEFAULT 'mail'
    CHECK (way IN ('mail', 'webhook', 'mqtt'));
DROP INDEX mail_of_period;
DROP INDEX mail_that_waits;
DROP INDEX mail_by_time;
CREATE UNIQUE INDEX delivery_of_period ON delivery (way, target, about, period)
    WHERE period IS NOT NULL;
CREATE INDEX delivery_that_waits ON delivery (next_try_utc_ms) WHERE next_try_utc_ms IS NOT NULL;
CREATE INDEX delivery_by_time ON delivery (made_utc_ms);

-- Which news a delivery tells.
ALTER TABLE mail_news RENAME TO delivery_news;
ALTER TABLE delivery_news RENAME COLUMN mail TO delivery;
DROP INDEX news_of_mail;
CREATE INDEX news_of_delivery ON delivery_news (delivery);
