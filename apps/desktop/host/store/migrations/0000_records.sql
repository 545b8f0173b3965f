CREATE TABLE `patients` (
  `code` text PRIMARY KEY NOT NULL,
  `sex` text NOT NULL,
  `birth_date` text,
  `group` text NOT NULL,
  `protocol` text,
  `expansion` integer,
  `maturity_start` text,
  `treatment_start` text,
  `active_end` text,
  `consent_follow_up` integer NOT NULL,
  `consent_pooling` integer NOT NULL,
  `seal` text NOT NULL
);
--> statement-breakpoint
CREATE TABLE `visits` (
  `id` integer PRIMARY KEY NOT NULL,
  `patient_code` text NOT NULL REFERENCES `patients`(`code`),
  `kind` text NOT NULL,
  `date` text,
  `age_years` real
);
--> statement-breakpoint
CREATE INDEX `visits_by_patient` ON `visits` (`patient_code`);
--> statement-breakpoint
CREATE TABLE `measurements` (
  `visit_id` integer NOT NULL REFERENCES `visits`(`id`),
  `position` integer NOT NULL,
  `measure` text NOT NULL,
  `value` real NOT NULL,
  `unit` text NOT NULL,
  `replicate` integer NOT NULL,
  `examiner` text NOT NULL,
  PRIMARY KEY (`visit_id`, `position`)
) WITHOUT ROWID;
--> statement-breakpoint
CREATE TABLE `events` (
  `patient_code` text NOT NULL REFERENCES `patients`(`code`),
  `position` integer NOT NULL,
  `date` text NOT NULL,
  `event` text NOT NULL,
  PRIMARY KEY (`patient_code`, `position`)
) WITHOUT ROWID;
--> statement-breakpoint
CREATE TABLE `audit` (
  `id` integer PRIMARY KEY NOT NULL,
  `at` text NOT NULL,
  `actor` text NOT NULL,
  `action` text NOT NULL,
  `patient_code` text,
  `before` text,
  `after` text,
  `seal` text NOT NULL
);
--> statement-breakpoint
CREATE TABLE `settings` (
  `key` text PRIMARY KEY NOT NULL,
  `value` text NOT NULL,
  `seal` text NOT NULL
);
