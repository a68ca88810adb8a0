-- One text for both engines. {{.Text}} is text compared byte by byte, so that
-- order and search do not depend on a server's language.
-- +goose Up

CREATE TABLE workspace (
	one         SMALLINT PRIMARY KEY CHECK (one = 1),
	id          {{.Text}} NOT NULL,
	created     BIGINT NOT NULL,
	last_change BIGINT NOT NULL
);

-- The audit trail: one row for each write, in the order of the writes.
CREATE TABLE changes (
	seq         BIGINT PRIMARY KEY,
	at          BIGINT NOT NULL,
	who         {{.Text}} NOT NULL,
	why         {{.Text}} NOT NULL,
	action      {{.Text}} NOT NULL,
	kind        {{.Text}} NOT NULL,
	subject     {{.Text}} NOT NULL,
	version     BIGINT NOT NULL,
	digest_from {{.Text}} NOT NULL,
	digest_to   {{.Text}} NOT NULL,
	differences {{.Text}} NOT NULL
);
CREATE INDEX changes_subject ON changes (kind, subject, seq);

-- Vehicles, dynos and named procedures as they were stated, each statement once.
CREATE TABLE definitions (
	id      {{.Text}} PRIMARY KEY,
	kind    {{.Text}} NOT NULL CHECK (kind IN ('vehicle', 'dyno', 'procedure')),
	name    {{.Text}} NOT NULL,
	version BIGINT NOT NULL CHECK (version > 0),
	digest  {{.Text}} NOT NULL,
	body    {{.Text}} NOT NULL,
	change  BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	UNIQUE (kind, name, version),
	UNIQUE (kind, name, digest)
);

-- Dated calibrations. until is the change that superseded the row.
CREATE TABLE calibrations (
	id         {{.Text}} PRIMARY KEY,
	dyno       {{.Text}} NOT NULL,
	valid_from BIGINT NOT NULL,
	since      BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	until      BIGINT REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	digest     {{.Text}} NOT NULL,
	body       {{.Text}} NOT NULL
);
CREATE UNIQUE INDEX calibrations_current ON calibrations (dyno, valid_from) WHERE until IS NULL;

-- Where a campaign stands now, for lists. All of it can be rebuilt from the
-- rows below, and the doctor compares.
CREATE TABLE campaigns (
	id      {{.Text}} PRIMARY KEY,
	version BIGINT NOT NULL CHECK (version > 0),
	digest  {{.Text}} NOT NULL,
	state   {{.Text}} NOT NULL CHECK (state IN ('open', 'closed', 'withdrawn')),
	title   {{.Text}} NOT NULL,
	vehicle {{.Text}} NOT NULL,
	dyno    {{.Text}} NOT NULL,
	started BIGINT NOT NULL,
	ended   BIGINT NOT NULL,
	pulls   BIGINT NOT NULL,
	result  {{.Text}}
);
CREATE INDEX campaigns_started ON campaigns (started, id);
CREATE INDEX campaigns_vehicle ON campaigns (vehicle, started, id);
CREATE INDEX campaigns_dyno ON campaigns (dyno, started, id);
CREATE INDEX campaigns_state ON campaigns (state, started, id);

CREATE TABLE words (
	word     {{.Text}} NOT NULL,
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	PRIMARY KEY (word, campaign)
);
CREATE INDEX words_campaign ON words (campaign);

-- What a campaign says. A row belongs to the versions since <= v < until.
CREATE TABLE heads (
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	since    BIGINT NOT NULL,
	until    BIGINT CHECK (until > since),
	vehicle  {{.Text}} NOT NULL REFERENCES definitions (id),
	dyno     {{.Text}} NOT NULL REFERENCES definitions (id),
	digest   {{.Text}} NOT NULL,
	body     {{.Text}} NOT NULL,
	PRIMARY KEY (campaign, since)
);
CREATE UNIQUE INDEX heads_current ON heads (campaign) WHERE until IS NULL;

CREATE TABLE originals (
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	name     {{.Text}} NOT NULL,
	since    BIGINT NOT NULL,
	until    BIGINT CHECK (until > since),
	digest   {{.Text}} NOT NULL,
	PRIMARY KEY (campaign, name, since)
);
CREATE UNIQUE INDEX originals_current ON originals (campaign, name) WHERE until IS NULL;

CREATE TABLE configurations (
	id       {{.Text}} PRIMARY KEY,
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	name     {{.Text}} NOT NULL,
	since    BIGINT NOT NULL,
	until    BIGINT CHECK (until > since),
	position BIGINT NOT NULL,
	digest   {{.Text}} NOT NULL,
	body     {{.Text}} NOT NULL,
	UNIQUE (campaign, name, since)
);
CREATE UNIQUE INDEX configurations_current ON configurations (campaign, name) WHERE until IS NULL;

CREATE TABLE setups (
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	name     {{.Text}} NOT NULL,
	change   BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	PRIMARY KEY (campaign, name)
);

CREATE TABLE pulls (
	id            {{.Text}} PRIMARY KEY,
	campaign      {{.Text}} NOT NULL REFERENCES campaigns (id),
	name          {{.Text}} NOT NULL,
	since         BIGINT NOT NULL,
	until         BIGINT CHECK (until > since),
	position      BIGINT NOT NULL,
	line          BIGINT NOT NULL,
	started       BIGINT NOT NULL,
	configuration {{.Text}} NOT NULL,
	setup         {{.Text}} NOT NULL,
	log           {{.Text}} NOT NULL,
	digest        {{.Text}} NOT NULL,
	body          {{.Text}} NOT NULL,
	UNIQUE (campaign, name, since),
	FOREIGN KEY (campaign, setup) REFERENCES setups (campaign, name)
);
CREATE UNIQUE INDEX pulls_current ON pulls (campaign, name) WHERE until IS NULL;
CREATE INDEX pulls_log ON pulls (log);

CREATE TABLE attachments (
	id       {{.Text}} PRIMARY KEY,
	campaign {{.Text}} NOT NULL REFERENCES campaigns (id),
	kind     {{.Text}} NOT NULL CHECK (kind IN ('setup', 'configuration')),
	subject  {{.Text}} NOT NULL,
	name     {{.Text}} NOT NULL,
	media    {{.Text}} NOT NULL,
	size     BIGINT NOT NULL,
	note     {{.Text}} NOT NULL,
	digest   {{.Text}} NOT NULL,
	change   BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED,
	UNIQUE (campaign, kind, subject, name, digest)
);

CREATE TABLE results (
	id              {{.Text}} PRIMARY KEY,
	campaign        {{.Text}} NOT NULL REFERENCES campaigns (id),
	version         BIGINT NOT NULL,
	data_digest     {{.Text}} NOT NULL,
	program         {{.Text}} NOT NULL,
	settings_digest {{.Text}} NOT NULL,
	settings        {{.Text}} NOT NULL,
	digest          {{.Text}} NOT NULL,
	body            {{.Text}} NOT NULL,
	scatter_digest  {{.Text}} NOT NULL,
	scatter         {{.Text}} NOT NULL,
	change          BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX results_campaign ON results (campaign, change);

CREATE TABLE checks (
	result   {{.Text}} NOT NULL REFERENCES results (id),
	position BIGINT NOT NULL,
	name     {{.Text}} NOT NULL,
	status   {{.Text}} NOT NULL CHECK (status IN ('pass', 'warn', 'fail')),
	body     {{.Text}} NOT NULL,
	PRIMARY KEY (result, position)
);
CREATE INDEX checks_name ON checks (name, status);
