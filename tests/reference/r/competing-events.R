# Cumulative incidences of competing events and Gray's test. survival::survfit of a factor gives Aalen-Johansen curves
# with the infinitesimal jackknife, also with late entry; cmprsk::cuminc gives Aalen's variance and Gray's test. The
# Greenwood-type variance with late entry is written here plainly from its definition, as a sum over event times.
# Packages: survival 3.5-3, cmprsk 2.2-11, KMsurv 0.1-5-2.
source("shared/fixture.R")
suppressMessages(library(cmprsk))
library(survival)

scales <- c(logLog = "log-log", log = "log", plain = "plain")

states <- function(cause) factor(cause, 0:max(cause), c("censored", paste0("cause", seq_len(max(cause)))))

of_survfit <- function(time, cause, entry) {
  state <- states(cause)
  id <- seq_along(time)
  fit_as <- function(type) {
    if (is.null(entry)) survfit(Surv(time, state) ~ 1, id = id, conf.type = type)
    else survfit(Surv(entry, time, state) ~ 1, id = id, conf.type = type)
  }
  fits <- lapply(scales, fit_as)
  fit <- fits[[1]]
  # With late entry survfit lists times of entry too; the curves change at times of events only.
  kept <- fit$time %in% time
  list(
    time = I(fit$time[kept]), atRisk = I(fit$n.risk[kept, 1]),
    probability = t(fit$pstate[kept, , drop = FALSE]), standardError = t(fit$std.err[kept, , drop = FALSE]),
    limits = lapply(fits, function(one) list(
      lower = t(one$lower[kept, , drop = FALSE]), upper = t(one$upper[kept, , drop = FALSE])
    ))
  )
}

# Sum over event times u of the squared derivative of F(t) by the hazards at u, with multinomial covariance.
greenwood <- function(time, cause, entry, of) {
  moments <- sort(unique(time[cause > 0]))
  n <- sapply(moments, function(u) sum(entry < u & u <= time))
  d <- sapply(moments, function(u) sum(time == u & cause > 0))
  own <- sapply(moments, function(u) sum(time == u & cause == of))
  after <- cumprod(1 - d / n)
  before <- c(1, after)[seq_along(moments)]
  incidence <- cumsum(before * own / n)
  variance <- sapply(seq_along(moments), function(t) {
    total <- 0
    for (u in seq_len(t)) {
      a <- c(own[u], d[u] - own[u]) / n[u]
      later <- if (after[u] > 0) (incidence[t] - incidence[u]) / after[u] else 0
      slope <- before[u] * (c(1, 0) - later)
      total <- total + drop(slope %*% ((diag(a) - outer(a, a)) / n[u]) %*% slope)
    }
    total
  })
  list(time = I(moments), incidence = I(incidence), standardError = I(sqrt(variance)))
}

of_cuminc <- function(time, cause) {
  fit <- cuminc(time, cause)
  at <- sort(unique(time[cause > 0]))
  points <- timepoints(fit, at)
  list(time = I(at), incidence = unname(points$est), variance = unname(points$var))
}

curve <- function(name, time, cause, entry = NULL) {
  from <- if (is.null(entry)) rep(-1, length(time)) else entry
  c(
    list(name = name, time = I(time), cause = I(cause), entry = if (!is.null(entry)) I(entry)),
    list(
      survfit = of_survfit(time, cause, entry),
      cuminc = if (is.null(entry)) of_cuminc(time, cause),
      greenwood = lapply(seq_len(max(cause)), function(of) greenwood(time, cause, from, of))
    )
  )
}

gray <- function(name, time, cause, group, stratum = rep(1, length(time)), rho = 0) {
  tests <- cuminc(time, cause, group, strata = stratum, rho = rho)$Tests
  list(
    name = name, time = I(time), cause = I(cause), group = I(group), stratum = I(stratum), rho = rho,
    chiSquared = I(unname(tests[, "stat"])), p = I(unname(tests[, "pv"])), degreesOfFreedom = tests[1, "df"]
  )
}

gammopathy <- with(mgus2, data.frame(
  time = ifelse(pstat == 0, futime, ptime), cause = ifelse(pstat == 0, 2 * death, 1),
  sex = as.character(sex), old = as.integer(age >= 70)
))
# Months from the 50th birthday on; in months since then, as if age were the scale.
gammopathy_by_age <- with(subset(data.frame(mgus2, gammopathy[c("time", "cause")]), age >= 50 & time > 0), data.frame(
  entry = 12 * (age - 50), time = 12 * (age - 50) + time, cause = cause
))

data(bmt, package = "KMsurv")
transplant <- with(bmt, data.frame(
  time = t2, cause = ifelse(d2 == 1, 1, ifelse(d1 == 1, 2, 0)), group = group, z10 = z10
))

colon_first <- local({
  recurrence <- colon[colon$etype == 1, ]
  death <- colon[colon$etype == 2, ]
  data.frame(
    time = recurrence$time, rx = as.character(recurrence$rx), sex = recurrence$sex,
    cause = ifelse(recurrence$status == 1, 1, ifelse(death$status == 1 & death$time == recurrence$time, 2, 0))
  )
})

drawn <- function(seed, n, causes, whole, censoring) {
  set.seed(seed)
  time <- if (whole) ceiling(6 * rexp(n)) else round(6 * rexp(n), 3) + 0.001
  data.frame(
    time = time, cause = ifelse(runif(n) < censoring, 0, sample(causes, n, TRUE)),
    entry = if (whole) floor(time * runif(n)) else round(time * runif(n), 3),
    group = sample(1:3, n, TRUE, c(0.6, 0.3, 0.1)), stratum = sample(1:2, n, TRUE)
  )
}
tied <- drawn(1, 60, 3, TRUE, 0.3)
heavy <- drawn(2, 80, 2, FALSE, 0.85)
uncensored <- drawn(3, 25, 2, TRUE, 0)
large <- drawn(4, 250, 2, FALSE, 0.4)
small <- data.frame(time = c(2, 3, 3, 5, 7), cause = c(1, 2, 1, 0, 2))
late <- subset(drawn(5, 90, 2, TRUE, 0.3), entry < time)
late_fine <- subset(drawn(6, 120, 3, FALSE, 0.2), entry < time)

# The pooled incidence passes 1 before the last event: all of group a have theirs before group b has one.
apart <- data.frame(
  time = c(1, 1, 2, 3, 1, 4, 5, 6, 7, 8), cause = c(1, 1, 1, 1, 2, 1, 1, 2, 1, 1), group = rep(c("a", "b"), c(4, 6))
)
# Whole groups end at one time with events of both causes.
together <- data.frame(
  time = c(1, 2, 2, 2, 3, 3, 1, 1, 2, 3, 3, 3, 4, 4), cause = c(1, 1, 2, 0, 1, 2, 2, 0, 1, 1, 1, 2, 1, 2),
  group = rep(c("a", "b"), c(6, 8))
)

frequencies <- c(1, 3, 2, 4, 1, 1, 2, 5)
frequent <- data.frame(time = c(1, 2, 2, 3, 4, 4, 6, 8), cause = c(1, 0, 2, 1, 2, 1, 0, 0))

write_fixture("competing-events", c("survival", "cmprsk", "KMsurv"), list(
  curves = list(
    with(gammopathy, curve("survival::mgus2, plasma cell malignancy and death before it", time, cause)),
    with(transplant, curve("KMsurv::bmt, relapse and death in remission", time, cause)),
    with(small, curve("five rows, two causes at one time", time, cause)),
    with(tied, curve("seeded, 60 rows, three causes, whole times", time, cause)),
    with(heavy, curve("seeded, 80 rows, 85 % censored", time, cause)),
    with(uncensored, curve("seeded, 25 rows, nobody censored", time, cause)),
    with(frequent[rep(1:8, frequencies), ], curve("frequencies written out", time, cause)),
    with(gammopathy_by_age[1:300, ], curve("survival::mgus2 from the 50th birthday on, 300 rows, late entry", time, cause, entry)),
    with(late, curve("seeded, whole times, late entry", time, cause, entry)),
    with(late_fine, curve("seeded, three causes, late entry", time, cause, entry))
  ),
  frequent = list(time = frequent$time, cause = frequent$cause, weights = frequencies),
  gray = list(
    with(gammopathy, gray("survival::mgus2 by sex", time, cause, sex)),
    with(gammopathy, gray("survival::mgus2 by sex, stratified by age 70", time, cause, sex, old)),
    with(transplant, gray("KMsurv::bmt by disease group", time, cause, group)),
    with(transplant, gray("KMsurv::bmt by disease group, stratified by methotrexate, rho 1", time, cause, group, z10, 1)),
    with(colon_first, gray("survival::colon, recurrence, by treatment", time, cause, rx)),
    with(tied, gray("seeded, 60 rows, three causes, whole times", time, cause, group)),
    with(tied, gray("seeded, whole times, stratified, rho 0.5", time, cause, group, stratum, 0.5)),
    with(heavy, gray("seeded, 80 rows, 85 % censored", time, cause, group)),
    with(uncensored, gray("seeded, 25 rows, nobody censored", time, cause, group)),
    with(apart, gray("one group after the other", time, cause, group)),
    with(together, gray("groups that end with events of both causes at one time", time, cause, group)),
    with(large, gray("seeded, 250 rows, stratified", time, cause, group, stratum)),
    with(large, gray("seeded, 250 rows, rho 2", time, cause, group, rho = 2))
  )
))
