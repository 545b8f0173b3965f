# The whole main job, worked out from docs/methods.md alone: an invented study of three import files becomes method
# errors, an expected growth curve, each patient's gain and status, the group's retained share, losses and their curves
# under three rules, and who was seen. Two measures: one that grows (Co-Gn) and one that does not (overjet).
# Packages: survival 3.5-3, nlme 3.1-162, lme4 1.1-31, splines (with R). Data: ../data/main-job (invented).
suppressPackageStartupMessages(library(survival))
source("shared/fixture.R")
source("shared/mixed-model.R")
source("shared/turnbull.R")
source("shared/study-files.R")
source("shared/expected-growth.R")
source("shared/patient-course.R")
source("shared/gain-survival.R")

level <- 0.95
q <- 0.75
two_sided <- qnorm(1 - (1 - level) / 2)
one_sided <- qnorm(level)
rules <- c("any-visit", "beyond-error", "confirmed")

study <- read_study(file.path("..", "data", "main-job"))
as_of <- latest_day(study)

event_years <- function(code, kind) {
  end <- study$patients$active_end[study$patients$code == code]
  sort(years(end, study$events$date[study$events$patient_code == code & study$events$event == kind]))
}
treated_again_at <- function(code) c(event_years(code, "treated_again"), Inf)[1]

in_window <- function(time, year) time > year - 0.5 & time <= year + 0.5

method_error <- function(measure) {
  d <- duplicate_differences(study, measure)
  n <- length(d)
  stopifnot(n >= 25)
  chi <- qchisq(c(0.975, 0.025), n)
  list(
    pairs = n, dahlberg = sqrt(sum(d^2) / (2 * n)), lower = sqrt(sum(d^2) / 2 / chi[1]), upper = sqrt(sum(d^2) / 2 / chi[2]),
    moments = sd(d) / sqrt(2), bias = mean(d), biasP = t.test(d)$p.value
  )
}

# Follow-up visits that count: those before a second treatment.
counting <- function(patient) {
  which(patient$course$visits$years[patient$course$follow_up] < patient$treated_again)
}

read_patient <- function(row, values, yardstick) {
  code <- study$patients$code[row]
  visits <- values[values$patient_code == code, ]
  course <- if (nrow(visits) == 0) NULL else patient_course(visits, q, yardstick)
  list(
    code = code, consent = study$patients$consent_follow_up[row] == "yes", visits = visits,
    treated_again = treated_again_at(code), course = course,
    measurable = !is.null(course$gain) && course$gain$estimate - two_sided * sqrt(total_variance(course$gain)) > 0
  )
}

visit_as_list <- function(patient, i, yardstick) {
  course <- patient$course
  later <- course$later[[i]]
  gain <- course$gain
  share <- if (patient$measurable) {
    fieller(
      later$estimate, gain$estimate, total_variance(later), total_variance(gain),
      contrast_covariance(later, gain, yardstick), two_sided
    )
  }
  visit <- course$visits[course$follow_up[i], ]
  status <- visit_status(patient, i)
  c(
    list(date = as.character(visit$visit_date), age = visit$age, years = visit$years, value = visit$value, readings = visit$readings),
    prefixed("gain", gain_as_list(later, two_sided)),
    prefixed("share", c(if (patient$measurable) list(estimate = later$estimate / gain$estimate), share)),
    prefixed("status", status)
  )
}
prefixed <- function(prefix, parts) setNames(parts, if (length(parts) > 0) paste(prefix, names(parts), sep = "."))

visit_status <- function(patient, i) {
  if (!i %in% counting(patient)) return(list(verdict = "treated-again"))
  if (!patient$measurable) return(list(verdict = "not-measurable"))
  status_of(patient$course$margin[[i]], one_sided)
}

latest_verdict <- function(patient) {
  if (is.finite(patient$treated_again)) return("treated-again")
  if (is.null(patient$course$gain)) return("not-measurable")
  if (!any(patient$visits$visit_kind == "follow_up")) return("no-follow-up")
  followed <- length(patient$course$follow_up) # visits that expected growth speaks for
  if (followed == 0) "not-measurable" else visit_status(patient, followed)$verdict
}

# Why a patient is not in the risk set; NULL for one who is.
left_out <- function(patient) {
  kinds <- patient$visits$visit_kind
  if (!"start" %in% kinds) return("no-start-value")
  if (!"end_of_active" %in% kinds) return("no-end-value")
  if (is.null(patient$course$gain)) return("no-reference")
  if (!patient$measurable) return("gain-not-measurable")
  if (!any(kinds == "follow_up" & patient$visits$years < patient$treated_again)) return("no-follow-up")
  if (length(counting(patient)) == 0) "no-reference"
}

# Rows with the same or fewer names become columns; what a row lacks is NA.
as_columns <- function(rows) {
  names <- unique(unlist(lapply(rows, names)))
  lapply(setNames(names, names), function(name) {
    I(unlist(lapply(rows, function(row) if (is.null(row[[name]])) NA else row[[name]])))
  })
}

patient_as_list <- function(patient, yardstick) {
  course <- patient$course
  losses <- if (is.null(left_out(patient))) lapply(setNames(rules, rules), function(rule) losses_of(patient, rule))
  list(
    code = patient$code, consent = patient$consent, treatedAgainAt = patient$treated_again, leftOut = left_out(patient),
    verdict = latest_verdict(patient), gain = if (!is.null(course$gain)) gain_as_list(course$gain, two_sided),
    visits = as_columns(lapply(seq_along(course$follow_up), function(i) visit_as_list(patient, i, yardstick))), loss = losses
  )
}

margins_of <- function(patient) {
  used <- counting(patient)
  margin <- patient$course$margin[used]
  list(
    years = patient$course$visits$years[patient$course$follow_up[used]],
    margin = vapply(margin, `[[`, 0, "estimate"), sd = sqrt(vapply(margin, `[[`, 0, "measurement"))
  )
}
losses_of <- function(patient, rule) with(margins_of(patient), loss_of(years, margin, sd, rule, one_sided))

mean_gain <- function(patients, yardstick) {
  gains <- vapply(patients, function(patient) patient$course$gain$estimate, 0)
  x <- colMeans(do.call(rbind, lapply(patients, function(patient) patient$course$gain$x)))
  n <- length(gains)
  half <- qt(1 - (1 - level) / 2, n - 1) * sqrt(var(gains) / n + as.numeric(x %*% yardstick$growth$V %*% x))
  list(n = n, mean = mean(gains), sd = sd(gains), lower = mean(gains) - half, upper = mean(gains) + half)
}

# For each patient seen in a year's window, the visit nearest to the anniversary.
seen_in <- function(patients, year) {
  found <- lapply(patients, function(patient) {
    time <- patient$course$visits$years[patient$course$follow_up]
    open <- intersect(which(in_window(time, year)), counting(patient))
    if (length(open) == 0) return(NULL)
    i <- open[which.min(abs(time[open] - year))]
    list(gain = patient$course$gain, later = patient$course$later[[i]], margin = patient$course$margin[[i]])
  })
  Filter(length, found)
}

estimates <- function(seen, part) vapply(seen, function(one) one[[part]]$estimate, 0)
mean_columns <- function(seen, part) colMeans(do.call(rbind, lapply(seen, function(one) one[[part]]$x)))

retained_year <- function(seen, year, V) {
  n <- length(seen)
  gain <- estimates(seen, "gain")
  later <- estimates(seen, "later")
  means <- if (n > 0) list(meanGainAtEnd = mean(gain), meanGainNow = mean(later))
  if (n < 2) return(c(list(year = year, n = n), means))
  x <- rbind(mean_columns(seen, "later"), mean_columns(seen, "gain"))
  S <- cov(cbind(later, gain)) / n + x %*% V %*% t(x)
  interval <- fieller(mean(later), mean(gain), S[1, 1], S[2, 2], S[1, 2], qt(1 - (1 - level) / 2, n - 1))
  c(list(year = year, n = n), means, list(estimate = mean(later) / mean(gain), interval = interval))
}

above_year <- function(seen, year, V) {
  n <- length(seen)
  margin <- estimates(seen, "margin")
  if (n < 3) return(list(year = year, n = n, measured = if (n > 0) mean(margin >= 0)))
  error <- mean(vapply(seen, function(one) one$margin$measurement, 0))
  x <- mean_columns(seen, "margin")
  v <- var(margin)
  true <- v - error
  corrected <- if (true >= 0.5 * v * sqrt(2 / (n - 1))) {
    r <- mean(margin) / sqrt(true)
    by_mean <- 1 / sqrt(true)
    by_variance <- -mean(margin) / (2 * true^1.5)
    spread <- sqrt(by_mean^2 * (v / n + as.numeric(x %*% V %*% x)) + by_variance^2 * 2 * v^2 / (n - 1))
    half <- qt(1 - (1 - level) / 2, n - 1) * spread
    list(estimate = pnorm(r), lower = pnorm(r - half), upper = pnorm(r + half))
  }
  list(year = year, n = n, measured = mean(margin >= 0), corrected = corrected)
}

false_losses <- function(patients, rule, s) {
  sum(vapply(patients, function(patient) {
    course <- patient$course
    margins <- margins_of(patient)
    readings <- course$visits$readings
    shared <- s * sqrt(q^2 / readings[course$visits$visit_kind == "end_of_active"] + (1 - q)^2 / readings[course$visits$visit_kind == "start"])
    own <- s / sqrt(readings[course$follow_up[counting(patient)]])
    false_loss((1 - q) * course$gain$estimate, shared, own, margins$sd, rule, one_sided)
  }, 0))
}

survival_under <- function(rule, patients, s) {
  losses <- lapply(patients, losses_of, rule)
  left <- vapply(losses, `[[`, 0, "left")
  right <- vapply(losses, `[[`, 0, "right")
  at <- seq_len(floor(max(ifelse(is.finite(right), right, left))))
  fit <- turnbull(left, right)
  list(
    patients = length(losses), losses = sum(is.finite(right)), atRisk = I(vapply(at, function(t) still_followed(left, right, t), 0)),
    kaplanMeier = kaplan_meier_at(left, right, at, level),
    turnbull = list(
      logLikelihood = fit$log_likelihood, gap = fit$gap, unique = fit$unique,
      left = I(fit$cells$left), right = I(fit$cells$right), mass = I(fit$mass),
      atYears = I(turnbull_at(fit, at)), ends = turnbull_ends(fit, at)
    ),
    falseLosses = false_losses(patients, rule, s)
  )
}

# Why a treated patient was not seen in a year. No consent and a second treatment come before all else.
reason_of <- function(patient, visit_years, year) {
  seen <- visit_years[in_window(visit_years, year)]
  if (!patient$consent) return("no-consent")
  if (patient$treated_again < min(seen, year + 0.5)) return("treated-again")
  if (length(seen) > 0) return("seen")
  kinds <- c("withdrew", "moved", "declined")
  happened <- unlist(lapply(kinds, function(kind) setNames(event_years(patient$code, kind), rep(kind, length(event_years(patient$code, kind))))))
  happened <- happened[happened <= year + 0.5]
  if (length(happened) == 0) "not-known" else names(happened)[which.max(happened)]
}

flow <- function(patients) {
  ends <- study$patients$active_end[match(vapply(patients, `[[`, "", "code"), study$patients$code)]
  horizon <- years(ends, as_of)
  all_visits <- unique(study$readings[study$readings$visit_kind == "follow_up", c("patient_code", "visit_date")])
  lapply(seq_len(min(15, floor(max(horizon, na.rm = TRUE) - 0.5))), function(year) {
    eligible <- patients[!is.na(horizon) & horizon >= year + 0.5]
    reasons <- vapply(eligible, function(patient) {
      end <- study$patients$active_end[study$patients$code == patient$code]
      reason_of(patient, years(end, all_visits$visit_date[all_visits$patient_code == patient$code]), year)
    }, "")
    usable <- vapply(eligible, function(patient) {
      course <- patient$course
      !is.null(course$gain) && any(in_window(course$visits$years[course$follow_up], year))
    }, NA)
    not_seen <- c("withdrew", "moved", "declined", "treated-again", "no-consent", "not-known")
    list(
      year = year, eligible = length(eligible), seen = sum(reasons == "seen"), measured = sum(reasons == "seen" & usable),
      notSeen = lapply(setNames(not_seen, not_seen), function(reason) sum(reasons == reason))
    )
  })
}

growth_as_list <- function(growth) {
  list(
    degreesOfFreedom = growth$df, akaike = I(growth$akaike), knots = I(growth$knots), boundary = I(growth$boundary),
    rateSd = sqrt(growth$rate_variance), residualSd = sqrt(growth$residual_variance),
    series = lapply(names(growth$ages), function(sex) {
      list(sex = sex, children = growth$children[[sex]], measurements = growth$values[[sex]], ages = I(growth$ages[[sex]]))
    })
  )
}

answer_for <- function(measure, direction, grows) {
  values <- visit_values(study, measure)
  error <- method_error(measure)
  growth <- if (grows) expected_growth(values) else no_growth()
  yardstick <- list(direction = direction, s = error$dahlberg, growth = growth)
  patients <- lapply(which(study$patients$group == "treated"), read_patient, values, yardstick)
  judged <- Filter(function(patient) patient$consent && !is.null(patient$course$gain), patients)
  at_risk <- Filter(function(patient) is.null(left_out(patient)), judged)
  seen <- lapply(1:15, function(year) seen_in(judged, year))
  followed <- seq_len(max(which(lengths(seen) > 0)))
  list(
    measure = measure, methodError = error, growth = if (grows) growth_as_list(growth),
    gain = mean_gain(judged, yardstick),
    retained = lapply(followed, function(year) retained_year(seen[[year]], year, growth$V)),
    above = lapply(followed, function(year) above_year(seen[[year]], year, growth$V)),
    survival = lapply(setNames(rules, rules), survival_under, at_risk, error$dahlberg),
    flow = flow(patients),
    patients = lapply(patients, patient_as_list, yardstick)
  )
}

write_fixture("main-job", c("survival", "nlme", "lme4"), list(
  asOf = as.character(as_of), level = level, share = q,
  answers = list(answer_for("Co-Gn", 1, TRUE), answer_for("overjet", -1, FALSE))
))
