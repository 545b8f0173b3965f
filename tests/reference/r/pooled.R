# A pool of centres from the patients' own rows: retained share of each centre by the delta method and its random-effects
# mean (metafor), the curve of all patients by self-consistency and Newton steps (shared/turnbull.R), and the growth clock
# with patients within centres (lme4), with the likelihood-ratio test that all centres have the same two parts.
# Packages: metafor, lme4. Data: seeded, with centres of unequal size.
suppressMessages({
  library(metafor)
  library(lme4)
})
source("shared/fixture.R")
source("shared/turnbull.R")

set.seed(5, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
sizes <- c(45, 18, 30, 70)
lasting <- c(2.6, 1.9, 3.1, 2.2)
forward <- c(0.6, 0.5, 0.4, 0.8)

gains <- do.call(rbind, lapply(seq_along(sizes), function(centre) {
  do.call(rbind, lapply(seq_len(sizes[centre]), function(patient) {
    time <- c(0, sort(sample(1:6, sample(0:4, 1))))
    velocity <- pmax(0, 2.6 - 0.5 * time + rnorm(1, 0, 0.4))
    gain <- lasting[centre] + rnorm(1, 0, 0.8) + (forward[centre] + rnorm(1, 0, 0.25)) * velocity + rnorm(length(time), 0, 0.5)
    data.frame(centre, patient, time, velocity = round(velocity, 3), gain = round(gain, 2))
  }))
}))
gains$id <- paste(gains$centre, gains$patient)

# Retained share at year 2 of those seen then: ratio of means, delta method.
year <- 2
pairs <- merge(gains[gains$time == 0, c("id", "centre", "gain")], gains[gains$time == year, c("id", "gain")], by = "id", suffixes = c("0", "k"))
shares <- do.call(rbind, lapply(split(pairs, pairs$centre), function(own) {
  n <- nrow(own)
  share <- mean(own$gaink) / mean(own$gain0)
  variance <- (var(own$gaink) - 2 * share * cov(own$gain0, own$gaink) + share^2 * var(own$gain0)) / n / mean(own$gain0)^2
  data.frame(n, share, variance)
}))
control <- list(threshold = 1e-14, maxiter = 10000)
pool <- function(yi, vi) rma(yi, vi, method = "REML", test = "adhoc", control = control)
fit <- pool(shares$share, shares$variance)
limits <- confint(fit, control = list(tol = 1e-15, maxiter = 100000))$random
reach <- qt(0.975, fit$k - 2) * sqrt(fit$tau2 + fit$se^2)
without <- do.call(rbind, lapply(seq_len(fit$k), function(i) {
  rest <- pool(shares$share[-i], shares$variance[-i])
  data.frame(estimate = as.numeric(rest$b), lower = rest$ci.lb, upper = rest$ci.ub)
}))
# All patients as one series: Fieller's set by its quadratic.
fieller <- function(own) {
  n <- nrow(own)
  t2 <- qt(0.975, n - 1)^2
  a <- mean(own$gain0)^2 - t2 * var(own$gain0) / n
  b <- mean(own$gain0) * mean(own$gaink) - t2 * cov(own$gain0, own$gaink) / n
  c <- mean(own$gaink)^2 - t2 * var(own$gaink) / n
  (b + c(-1, 1) * sqrt(b^2 - a * c)) / a
}

# Loss intervals in days on a grid of a week, centre by centre.
losses <- do.call(rbind, lapply(seq_along(sizes), function(centre) {
  do.call(rbind, lapply(seq_len(sizes[centre]), function(patient) {
    visits <- 7 * sort(sample(8:260, sample(2:5, 1)))
    time <- rexp(1, c(0.1, 0.2, 0.15, 0.12)[centre]) * 365.25
    left <- max(0, visits[visits < time])
    right <- if (any(visits >= time)) min(visits[visits >= time]) else Inf
    data.frame(centre, left, right)
  }))
}))
curve <- turnbull(losses$left, losses$right)
years <- c(1, 2, 3)
survival_at <- function(day) {
  left <- 1
  for (j in seq_along(curve$mass)) {
    from <- curve$cells$left[j]
    to <- curve$cells$right[j]
    if (day >= to) left <- left - curve$mass[j]
    else if (day > from && is.finite(to)) left <- left - curve$mass[j] * (day - from) / (to - from)
  }
  left
}

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE)
clock <- suppressMessages(lmer(gain ~ velocity + (1 + velocity | id) + (1 | centre) + (0 + velocity | centre), gains, REML = TRUE, control = tight))
sds <- as.data.frame(VarCorr(clock))
alike <- suppressMessages(lmer(gain ~ velocity + (1 + velocity | id), gains, REML = FALSE, control = tight))
apart <- suppressMessages(lmer(gain ~ 0 + factor(centre) + factor(centre):velocity + (1 + velocity | id), gains, REML = FALSE, control = tight))
own <- lapply(seq_along(sizes), function(centre) {
  single <- suppressMessages(lmer(gain ~ velocity + (1 + velocity | id), gains[gains$centre == centre, ], REML = TRUE, control = tight))
  list(estimate = I(unname(fixef(single))), standardError = I(unname(sqrt(diag(as.matrix(vcov(single)))))))
})
part <- function(which) {
  yi <- sapply(own, function(one) one$estimate[which])
  vi <- sapply(own, function(one) one$standardError[which])^2
  mean <- pool(yi, vi)
  list(estimate = as.numeric(mean$b), lower = mean$ci.lb, upper = mean$ci.ub, tauSquared = mean$tau2)
}

write_fixture("pooled", c("metafor", "lme4"), list(
  gains = list(centre = gains$centre, patient = gains$patient, time = gains$time, velocity = gains$velocity, gain = gains$gain),
  losses = list(centre = losses$centre, left = losses$left, right = losses$right),
  retention = list(
    year = year, patients = I(shares$n), share = I(shares$share), variance = I(shares$variance),
    estimate = as.numeric(fit$b), lower = fit$ci.lb, upper = fit$ci.ub, tauSquared = fit$tau2,
    tauSquaredLimits = I(unname(limits["tau^2", c("ci.lb", "ci.ub")])), iSquared = fit$I2 / 100, q = fit$QE, qP = fit$QEp,
    weights = I(unname(weights(fit)) / 100), prediction = I(as.numeric(fit$b) + c(-1, 1) * reach),
    without = list(estimate = I(without$estimate), lower = I(without$lower), upper = I(without$upper)),
    oneStage = list(estimate = mean(pairs$gaink) / mean(pairs$gain0), limits = I(fieller(pairs)))
  ),
  survival = list(years = years, estimate = I(sapply(years * 365.25, survival_at))),
  clock = list(
    estimate = I(unname(fixef(clock))), standardError = I(unname(sqrt(diag(as.matrix(vcov(clock)))))),
    patientSd = I(sds$sdcor[sds$grp == "id" & is.na(sds$var2)]),
    centreSd = I(c(sds$sdcor[sds$grp == "centre" & sds$var1 == "(Intercept)"], sds$sdcor[sds$grp == "centre.1" & sds$var1 == "velocity"])),
    residualSd = sigma(clock),
    likelihoodRatio = 2 * as.numeric(logLik(apart) - logLik(alike)), own = own,
    lasting = part(1), forward = part(2)
  )
))
