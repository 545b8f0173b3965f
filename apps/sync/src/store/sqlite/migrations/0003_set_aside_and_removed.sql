CREATE TABLE set_aside (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  made_from text NOT NULL,
  reason text NOT NULL
);
--> statement-breakpoint
CREATE TABLE removed_members (
  member text PRIMARY KEY NOT NULL REFERENCES members (id),
  receipt text NOT NULL,
  month text NOT NULL,
  held text NOT NULL
);
