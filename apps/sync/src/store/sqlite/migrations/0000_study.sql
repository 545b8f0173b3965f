CREATE TABLE study (
  only_one integer PRIMARY KEY CHECK (only_one = 1),
  id text NOT NULL,
  epoch text NOT NULL,
  sequence integer NOT NULL
);
--> statement-breakpoint
CREATE TABLE members (
  id text PRIMARY KEY NOT NULL,
  role text NOT NULL
);
--> statement-breakpoint
CREATE TABLE devices (
  id text PRIMARY KEY NOT NULL,
  member text NOT NULL REFERENCES members (id),
  token_digest text NOT NULL UNIQUE,
  next_token_digest text UNIQUE,
  revoked integer NOT NULL CHECK (revoked IN (0, 1))
);
--> statement-breakpoint
CREATE INDEX devices_by_member ON devices (member);
--> statement-breakpoint
CREATE TABLE codes (
  digest text PRIMARY KEY NOT NULL,
  member text NOT NULL REFERENCES members (id),
  expires text NOT NULL,
  used integer NOT NULL CHECK (used IN (0, 1))
);
--> statement-breakpoint
CREATE TABLE definitions (
  version integer PRIMARY KEY NOT NULL,
  body text NOT NULL
);
--> statement-breakpoint
CREATE TABLE batches (
  member text NOT NULL REFERENCES members (id),
  batch text NOT NULL,
  digest text NOT NULL,
  sequence integer NOT NULL,
  PRIMARY KEY (member, batch)
);
--> statement-breakpoint
CREATE TABLE versions (
  member text NOT NULL REFERENCES members (id),
  version text NOT NULL,
  pseudonym text NOT NULL,
  based_on text,
  sequence integer NOT NULL UNIQUE,
  batch text NOT NULL,
  definition integer NOT NULL REFERENCES definitions (version),
  body text,
  PRIMARY KEY (member, version)
);
--> statement-breakpoint
CREATE INDEX versions_by_pseudonym ON versions (member, pseudonym);
--> statement-breakpoint
CREATE UNIQUE INDEX one_head ON versions (member, pseudonym) WHERE body IS NOT NULL;
--> statement-breakpoint
CREATE INDEX heads_by_sequence ON versions (member, sequence) WHERE body IS NOT NULL;
--> statement-breakpoint
CREATE TABLE tombstones (
  member text NOT NULL REFERENCES members (id),
  digest text PRIMARY KEY NOT NULL,
  sequence integer NOT NULL UNIQUE,
  receipt text NOT NULL,
  versions_removed integer NOT NULL,
  month text NOT NULL
);
--> statement-breakpoint
CREATE INDEX tombstones_by_sequence ON tombstones (member, sequence);
--> statement-breakpoint
CREATE TABLE sheets (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  definition integer NOT NULL REFERENCES definitions (version),
  body text NOT NULL
);
--> statement-breakpoint
CREATE TABLE audit (
  at text NOT NULL,
  member text NOT NULL,
  device text NOT NULL,
  action text NOT NULL,
  subject text NOT NULL,
  times integer NOT NULL,
  PRIMARY KEY (at, member, device, action, subject)
);
