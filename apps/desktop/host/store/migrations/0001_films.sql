ALTER TABLE `visits` ADD COLUMN `film_factor` real;
--> statement-breakpoint
ALTER TABLE `visits` ADD COLUMN `film_factor_evidence` text;
--> statement-breakpoint
ALTER TABLE `measurements` ADD COLUMN `film` integer NOT NULL DEFAULT 1;
