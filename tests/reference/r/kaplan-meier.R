# Kaplan-Meier curves with Greenwood's standard error, three kinds of interval, numbers at risk, quantiles and
# restricted mean, from survival::survfit on published and on awkward invented data: late entry, frequencies, ties
# everywhere, one row, heavy censoring. Packages: survival 3.5-3, KMsurv 0.1-5-2.
# Data: remission times of Freireich and others 1963, survival's own data sets, KMsurv's channing.
source("shared/fixture.R")
library(survival)

interval_kinds <- c(plain = "plain", log = "log", logLog = "log-log")
probabilities <- c(0.1, 0.25, 0.5, 0.75, 0.9)

# survfit() gives NA where a limit is not defined (survival 0, or 1 before the first event); that stays null here.
limits <- function(fits) lapply(fits, function(fit) list(lower = I(fit$lower), upper = I(fit$upper)))

curve <- function(name, call, time, event, tau, at, entry = NULL, weights = NULL) {
  response <- if (is.null(entry)) Surv(time, event) else Surv(entry, time, event)
  frequency <- if (is.null(weights)) rep(1, length(time)) else weights
  from <- if (is.null(entry)) rep(-1, length(time)) else entry
  fits <- lapply(interval_kinds, function(kind) survfit(response ~ 1, weights = frequency, conf.type = kind, robust = FALSE))
  fit <- fits$logLog
  read_off <- summary(fit, times = at, extend = TRUE)
  restricted <- summary(fit, rmean = tau)$table
  list(
    name = name, call = call, time = I(time), event = I(as.integer(event)),
    entry = if (is.null(entry)) NULL else I(entry), weights = if (is.null(weights)) NULL else I(weights),
    steps = list(
      time = I(fit$time), atRisk = I(fit$n.risk), events = I(fit$n.event), censored = I(fit$n.censor),
      survival = I(fit$surv), standardError = I(fit$surv * fit$std.err), limits = limits(fits)
    ),
    readOff = list(
      time = I(at), survival = I(read_off$surv),
      atRisk = I(sapply(at, function(t) sum(frequency[from < t & time >= t]))),
      logLog = list(lower = I(read_off$lower), upper = I(read_off$upper))
    ),
    restrictedMean = list(tau = tau, mean = restricted[["rmean"]], standardError = restricted[["se(rmean)"]]),
    quantiles = c(
      list(probability = probabilities, estimate = I(unname(quantile(fit, probabilities, conf.int = FALSE)))),
      lapply(fits, function(fit) {
        q <- quantile(fit, probabilities)
        list(lower = I(unname(q$lower)), upper = I(unname(q$upper)))
      })
    )
  )
}

remission <- published("remission.csv")
mercaptopurine <- remission[remission$arm == "6-MP", ]
placebo <- remission[remission$arm == "placebo", ]
maintained <- aml[aml$x == "Maintained", ]
nonmaintained <- aml[aml$x == "Nonmaintained", ]
data(channing, package = "KMsurv")
# Months of age; a few residents of the home entered and left within the same month and say nothing.
channing <- channing[channing$ageentry < channing$age, ]
men <- channing[channing$gender == 1, ]
women <- channing[channing$gender == 2, ]

set.seed(20261125)
rough <- data.frame(time = ceiling(rexp(150, 0.3)), event = rbinom(150, 1, 0.6))
few <- data.frame(time = round(rexp(200, 0.1), 3), event = rbinom(200, 1, 0.06))
late <- data.frame(entry = round(runif(120, 0, 4), 1))
late$time <- round(late$entry + 0.1 + rexp(120, 0.4), 1) # to one decimal: dust would split ties
late$event <- rbinom(120, 1, 0.7)

write_fixture("kaplan-meier", c("survival", "KMsurv"), list(level = 0.95, curves = list(
  curve("6-MP remission", "survfit(Surv(time, event) ~ 1), 6-MP arm", mercaptopurine$time, mercaptopurine$event, 30, c(5, 10, 20, 30)),
  curve("placebo remission, no censoring", "survfit(Surv(time, event) ~ 1), placebo arm", placebo$time, placebo$event, 20, c(5, 10, 20)),
  curve("aml maintained", "survfit(Surv(time, status) ~ 1, aml, subset = x == 'Maintained')", maintained$time, maintained$status, 100, c(12, 24, 48)),
  curve("aml nonmaintained", "survfit(Surv(time, status) ~ 1, aml, subset = x == 'Nonmaintained')", nonmaintained$time, nonmaintained$status, 40, c(12, 24, 36)),
  curve("ovarian", "survfit(Surv(futime, fustat) ~ 1, ovarian)", ovarian$futime, ovarian$fustat, 1000, c(182, 365, 730)),
  curve("veteran", "survfit(Surv(time, status) ~ 1, veteran)", veteran$time, veteran$status, 500, c(50, 100, 365)),
  curve("lung men", "survfit(Surv(time, status == 2) ~ 1, lung, subset = sex == 1)", lung$time[lung$sex == 1], lung$status[lung$sex == 1] == 2, 730, c(182, 365, 730)),
  curve("lung women", "survfit(Surv(time, status == 2) ~ 1, lung, subset = sex == 2)", lung$time[lung$sex == 2], lung$status[lung$sex == 2] == 2, 730, c(182, 365, 730)),
  curve("colon, death", "survfit(Surv(time, status) ~ 1, colon, subset = etype == 2)", colon$time[colon$etype == 2], colon$status[colon$etype == 2], 2500, c(365, 1000, 3000)),
  curve("channing men, late entry", "survfit(Surv(ageentry, age, death) ~ 1, channing, subset = gender == 1 & ageentry < age)", men$age, men$death, 1100, c(800, 900, 1000), men$ageentry),
  curve("channing women, late entry, curve empties early or not", "survfit(Surv(ageentry, age, death) ~ 1, channing, subset = gender == 2 & ageentry < age)", women$age, women$death, 1100, c(760, 900, 1000), women$ageentry),
  curve("invented, whole times with many ties", "survfit(Surv(time, event) ~ 1), seed 20261125", rough$time, rough$event, 8, c(0.5, 1, 4, 9)),
  curve("invented, few events", "survfit(Surv(time, event) ~ 1), seed 20261125", few$time, few$event, 20, c(1, 10, 25)),
  curve("invented, late entry", "survfit(Surv(entry, time, event) ~ 1), seed 20261125", late$time, late$event, 6, c(1, 3, 6), late$entry),
  curve("invented, frequencies", "survfit(Surv(time, event) ~ 1, weights = w, robust = FALSE)", c(2, 3, 3, 5, 8, 9), c(1, 1, 0, 1, 0, 1), 8, c(1, 3, 6), weights = c(3, 1, 2, 4, 5, 2)),
  curve("invented, one row with an event", "survfit(Surv(2, 1) ~ 1)", 2, 1, 2, c(1, 2)),
  curve("invented, one row censored", "survfit(Surv(2, 0) ~ 1)", 2, 0, 2, c(1, 2)),
  curve("invented, ends level at one half", "survfit(Surv(time, event) ~ 1)", c(1, 2, 3, 4), c(1, 1, 0, 0), 4, c(1, 2.5, 4)),
  curve("invented, level at one half between events", "survfit(Surv(time, event) ~ 1)", c(1, 2, 2, 3, 4), c(0, 1, 1, 0, 1), 4, c(1, 2, 3)),
  curve("invented, an event at time 0", "survfit(Surv(time, event) ~ 1)", c(0, 1, 2, 2, 5), c(1, 0, 1, 1, 0), 5, c(0, 1, 2))
)))
