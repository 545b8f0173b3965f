ALTER TABLE members ADD COLUMN unheard integer NOT NULL DEFAULT 0 CHECK (unheard IN (0, 1));
