ALTER TABLE tombstones ADD COLUMN first_sequence bigint;
--> statement-breakpoint
ALTER TABLE sheets ADD COLUMN sequence bigint NOT NULL DEFAULT 0;
--> statement-breakpoint
CREATE TABLE federated (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  definition bigint NOT NULL REFERENCES definitions (version),
  sequence bigint NOT NULL UNIQUE,
  digest text,
  patients bigint NOT NULL,
  changed_at_least bigint NOT NULL,
  withdrawn bigint NOT NULL,
  receipt text,
  month text,
  body text
);
--> statement-breakpoint
CREATE TABLE centre_statistics (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  made_from text NOT NULL,
  body text,
  estimates text NOT NULL
);
--> statement-breakpoint
CREATE TABLE releases (
  number bigint PRIMARY KEY NOT NULL,
  sequence bigint NOT NULL,
  definition bigint NOT NULL REFERENCES definitions (version),
  to_coordinator bigint NOT NULL CHECK (to_coordinator IN (0, 1))
);
--> statement-breakpoint
CREATE TABLE release_centres (
  release bigint NOT NULL REFERENCES releases (number),
  member text NOT NULL REFERENCES members (id),
  way text NOT NULL,
  sequence bigint NOT NULL,
  patients bigint NOT NULL,
  changed_at_least bigint NOT NULL,
  PRIMARY KEY (release, member)
);
--> statement-breakpoint
CREATE TABLE release_views (
  release bigint NOT NULL REFERENCES releases (number),
  viewer text NOT NULL,
  body text NOT NULL,
  PRIMARY KEY (release, viewer)
);
