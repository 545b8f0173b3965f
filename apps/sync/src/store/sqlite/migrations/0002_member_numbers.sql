ALTER TABLE members ADD COLUMN number integer NOT NULL DEFAULT 0;
--> statement-breakpoint
UPDATE members SET number = (
  SELECT count(*) FROM members earlier WHERE earlier.role = members.role AND earlier.id <= members.id
);
--> statement-breakpoint
CREATE UNIQUE INDEX members_by_number ON members (role, number);
