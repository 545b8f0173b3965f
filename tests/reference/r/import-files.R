# Two published growth series in the layout of Longhold's import files: ages only, one reading a visit.
# Packages: nlme 3.1-162. Data: nlme::Orthodont (Potthoff and Roy 1964); ramus heights (Elston and Grizzle 1962).
# Writes potthoff-roy-1964/ and elston-grizzle-1962/ with patients.csv and measurements.csv.
source("shared/fixture.R")

patient_columns <- c(
  "code", "sex", "birth_date", "group", "protocol", "expansion", "maturity_start", "treatment_start", "active_end",
  "consent_follow_up", "consent_pooling"
)

write_csv <- function(frame, folder, name) {
  connection <- file(file.path(folder, name), open = "wb")
  write.csv(frame, connection, row.names = FALSE, quote = FALSE, na = "")
  close(connection)
}

import_files <- function(name, code, sex, age, measure, value) {
  folder <- file.path(output_folder(), name)
  dir.create(folder, showWarnings = FALSE)
  patients <- unique(data.frame(code = code, sex = sex))
  patients$group <- "untreated"
  patients$consent_follow_up <- "yes"
  patients$consent_pooling <- "no"
  patients[setdiff(patient_columns, names(patients))] <- NA
  write_csv(patients[patient_columns], folder, "patients.csv")
  write_csv(data.frame(
    patient_code = code, visit_kind = "follow_up", age_years = age, measure = measure, value = value, replicate = 1,
    examiner = ""
  ), folder, "measurements.csv")
}

children <- nlme::Orthodont
import_files("potthoff-roy-1964", as.character(children$Subject), tolower(as.character(children$Sex)), children$age, "S-Ptm", children$distance)
boys <- published("ramus-height.csv")
import_files("elston-grizzle-1962", sprintf("boy-%02d", boys$boy), rep("male", nrow(boys)), boys$age, "Co-Go", boys$height)
