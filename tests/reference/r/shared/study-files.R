# Reads the three import files of a study, by docs/import.md. Years are whole days over 365.25.

read_study <- function(folder) {
  read_one <- function(name) {
    read.csv(file.path(folder, name), colClasses = "character", na.strings = "", encoding = "UTF-8")
  }
  patients <- read_one("patients.csv")
  for (column in c("birth_date", "treatment_start", "active_end")) patients[[column]] <- as.Date(patients[[column]])
  readings <- read_one("measurements.csv")
  readings$visit_date <- as.Date(readings$visit_date)
  readings$value <- as.numeric(readings$value)
  readings$replicate <- as.integer(readings$replicate)
  events <- read_one("events.csv")
  events$date <- as.Date(events$date)
  list(patients = patients, readings = readings, events = events)
}

years <- function(from, to) as.numeric(to - from) / 365.25

# The day up to which the records are known: the latest date in them, births apart.
latest_day <- function(study) {
  max(study$patients$treatment_start, study$patients$active_end, study$readings$visit_date, study$events$date, na.rm = TRUE)
}

# One row for each visit at which the measure was taken: the mean of its readings and how many there were.
visit_values <- function(study, measure) {
  taken <- study$readings[study$readings$measure == measure, ]
  values <- aggregate(value ~ patient_code + visit_kind + visit_date, taken, mean)
  counts <- aggregate(value ~ patient_code + visit_kind + visit_date, taken, length)
  values$readings <- counts$value
  person <- study$patients[match(values$patient_code, study$patients$code), ]
  values$sex <- person$sex
  values$group <- person$group
  values$age <- years(person$birth_date, values$visit_date)
  values$years <- years(person$active_end, values$visit_date)
  values[order(values$patient_code, values$visit_date), ]
}

# Second minus first reading of one thing by one examiner.
duplicate_differences <- function(study, measure) {
  taken <- study$readings[study$readings$measure == measure, ]
  record <- with(taken, paste(patient_code, visit_kind, visit_date, examiner))
  unlist(lapply(split(taken, record), function(same) {
    same <- same[order(same$replicate), ]
    if (nrow(same) < 2) NULL else same$value[2] - same$value[1]
  }), use.names = FALSE)
}
