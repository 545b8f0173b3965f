ALTER TABLE tombstones ADD COLUMN first_sequence integer;
--> statement-breakpoint
ALTER TABLE sheets ADD COLUMN sequence integer NOT NULL DEFAULT 0;
--> statement-breakpoint
CREATE TABLE federated (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  definition integer NOT NULL REFERENCES definitions (version),
  sequence integer NOT NULL UNIQUE,
  digest text,
  patients integer NOT NULL,
  changed_at_least integer NOT NULL,
  withdrawn integer NOT NULL,
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
  number integer PRIMARY KEY NOT NULL,
  sequence integer NOT NULL,
  definition integer NOT NULL REFERENCES definitions (version),
  to_coordinator integer NOT NULL CHECK (to_coordinator IN (0, 1))
);
--> statement-breakpoint
CREATE TABLE release_centres (
  release integer NOT NULL REFERENCES releases (number),
  member text NOT NULL REFERENCES members (id),
  way text NOT NULL,
  sequence integer NOT NULL,
  patients integer NOT NULL,
  changed_at_least integer NOT NULL,
  PRIMARY KEY (release, member)
);
--> statement-breakpoint
CREATE TABLE release_views (
  release integer NOT NULL REFERENCES releases (number),
  viewer text NOT NULL,
  body text NOT NULL,
  PRIMARY KEY (release, viewer)
);
