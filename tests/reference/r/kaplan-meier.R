# Kaplan-Meier curves with Greenwood's standard error, three kinds of interval, numbers at risk, restricted mean
# and median, from survival::survfit on published data sets.
# Packages: survival 3.5-3. Data: remission times of Freireich and others 1963, and survival's own data sets.
source("shared/fixture.R")
library(survival)

interval_kinds <- c(plain = "plain", log = "log", logLog = "log-log")

# survfit() gives NA where a limit is not defined (survival 0, or 1 before the first event); that stays null here.
limits <- function(fits, rows) lapply(fits, function(fit) list(lower = I(fit$lower[rows]), upper = I(fit$upper[rows])))

curve <- function(name, call, time, event, tau, at) {
  fits <- lapply(interval_kinds, function(kind) survfit(Surv(time, event) ~ 1, conf.type = kind))
  fit <- fits$logLog
  rows <- fit$n.event > 0
  read_off <- summary(fit, times = at, extend = TRUE)
  restricted <- summary(fit, rmean = tau)$table
  list(
    name = name, call = call, time = time, event = as.integer(event),
    steps = list(
      time = I(fit$time[rows]), atRisk = I(fit$n.risk[rows]), events = I(fit$n.event[rows]),
      survival = I(fit$surv[rows]), standardError = I((fit$surv * fit$std.err)[rows]), limits = limits(fits, rows)
    ),
    readOff = list(
      time = I(at), survival = I(read_off$surv), atRisk = I(read_off$n.risk),
      logLog = list(lower = I(read_off$lower), upper = I(read_off$upper))
    ),
    restrictedMean = list(tau = tau, mean = restricted[["rmean"]], standardError = restricted[["se(rmean)"]]),
    median = c(
      list(estimate = unname(quantile(fit, 0.5, conf.int = FALSE))),
      lapply(fits, function(fit) {
        q <- quantile(fit, 0.5)
        list(lower = unname(q$lower), upper = unname(q$upper))
      })
    )
  )
}

remission <- published("remission.csv")
mercaptopurine <- remission[remission$arm == "6-MP", ]
placebo <- remission[remission$arm == "placebo", ]
maintained <- aml[aml$x == "Maintained", ]
nonmaintained <- aml[aml$x == "Nonmaintained", ]

write_fixture("kaplan-meier", "survival", list(level = 0.95, curves = list(
  curve("6-MP remission", "survfit(Surv(time, event) ~ 1), 6-MP arm", mercaptopurine$time, mercaptopurine$event, 30, c(5, 10, 20, 30)),
  curve("placebo remission, no censoring", "survfit(Surv(time, event) ~ 1), placebo arm", placebo$time, placebo$event, 20, c(5, 10, 20)),
  curve("aml maintained", "survfit(Surv(time, status) ~ 1, aml, subset = x == 'Maintained')", maintained$time, maintained$status, 100, c(12, 24, 48)),
  curve("aml nonmaintained", "survfit(Surv(time, status) ~ 1, aml, subset = x == 'Nonmaintained')", nonmaintained$time, nonmaintained$status, 40, c(12, 24, 36)),
  curve("ovarian", "survfit(Surv(futime, fustat) ~ 1, ovarian)", ovarian$futime, ovarian$fustat, 1000, c(182, 365, 730)),
  curve("veteran", "survfit(Surv(time, status) ~ 1, veteran)", veteran$time, veteran$status, 500, c(50, 100, 365)),
  curve("lung men", "survfit(Surv(time, status == 2) ~ 1, lung, subset = sex == 1)", lung$time[lung$sex == 1], lung$status[lung$sex == 1] == 2, 730, c(182, 365, 730)),
  curve("lung women", "survfit(Surv(time, status == 2) ~ 1, lung, subset = sex == 2)", lung$time[lung$sex == 2], lung$status[lung$sex == 2] == 2, 730, c(182, 365, 730))
)))
