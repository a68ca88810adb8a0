-- Who may sign in to the workspace's pages. An account whose secret is empty is
-- closed; its name stays taken, so that the audit trail names one person.
-- +goose Up

CREATE TABLE accounts (
	name   {{.Text}} PRIMARY KEY,
	role   {{.Text}} NOT NULL CHECK (role IN ('viewer', 'technician', 'engineer', 'approver')),
	secret {{.Text}} NOT NULL,
	change BIGINT NOT NULL REFERENCES changes (seq) DEFERRABLE INITIALLY DEFERRED
);
-- +goose StatementBegin
CREATE TRIGGER accounts_not_deleted BEFORE DELETE ON accounts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER accounts_name_not_changed BEFORE UPDATE OF name ON accounts FOR EACH ROW {{.Refuse}}
-- +goose StatementEnd
