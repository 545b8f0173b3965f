# Profile-likelihood limits (95 %) of standard deviations and correlations of linear mixed models, by dense algebra
# (shared/dense-mixed.R): the deviance is minimised over everything else with nlminb, its place found with uniroot.
# Full-likelihood limits are held inside this script against lme4::confint(method = "profile"), which interpolates.
# Packages: lme4 1.1-31, nlme 3.1-162 (data).
# Data: lme4::sleepstudy, Dyestuff, Dyestuff2, Pastes; nlme::Orthodont girls (Potthoff and Roy 1964); seeded.
suppressMessages(library(lme4))
source("shared/fixture.R")
source("shared/dense-mixed.R")

model <- function(y, X, Z, group, C = NULL, outer = NULL, sigma = NULL) {
  list(y = y, X = unname(X), Z = unname(Z), C = unname(C), group = group, outer = outer, diagonal = FALSE, weights = rep(1, length(y)), sigma = sigma)
}

# `by_lme4`: whether lme4's own profile can be trusted. Of the two cases where it can't, it gives sigma no limits in
# one (an effect at zero), and in the other stops at a ridge: the deviance at its limits exceeds the minimum by less than
# the quantile, as the dense one shows.
case <- function(name, m, restricted, formula, data, by_lme4 = TRUE) {
  m <- prepared(c(m, list(restricted = restricted)))
  s <- sizes(m)
  start <- numeric(0)
  if (is.null(formula)) {
    theta <- nlminb(rep(1, s$inner + s$outer), function(x) deviance_of(m, x), control = list(rel.tol = 1e-14))$par
  } else {
    exact <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE, check.conv.singular = "ignore", check.nobs.vs.nRE = "ignore")
    fit <- suppressMessages(suppressWarnings(lmer(formula, data, REML = restricted, control = exact)))
    theta <- polish_dense(m, unname(getME(fit, "theta")))
  }
  sigma <- if (is.null(m$sigma)) sqrt(reduce_dense(m, relative(m, theta))$squares / (length(m$y) - if (restricted) ncol(m$X) else 0)) else m$sigma
  cov <- relative(m, theta)
  sd <- sqrt(diag(cov$G)) * sigma
  phi <- c(sd, if (s$q == 2) cov$G[1, 2] / sqrt(cov$G[1, 1] * cov$G[2, 2]), if (s$r == 1) sqrt(cov$H[1, 1]) * sigma, sigma)
  kinds <- c(rep("sd", s$q), if (s$q == 2) "cor", if (s$r == 1) "sd", "residual")
  wanted <- if (is.null(m$sigma)) seq_along(phi) else seq_len(length(phi) - 1)
  limits <- t(vapply(wanted, function(i) profile_limits(m, phi, kinds, i), numeric(2)))
  if (!is.null(formula) && !restricted && by_lme4) {
    theirs <- suppressMessages(suppressWarnings(confint(fit, parm = "theta_", method = "profile", oldNames = FALSE, quiet = TRUE)))
    order <- if (s$q == 2) c(1, 3, 2, 4) else seq_along(phi)
    off <- abs(unname(theirs[order, ]) - limits) / pmax(abs(limits), 1e-2 * sigma)
    if (any(off > 5e-3)) stop(name, " disagrees with lme4")
  }
  list(
    name = name, criterion = if (restricted) "REML" else "ML", y = m$y, X = m$X, Z = m$Z, group = m$group, C = m$C, outer = m$outer,
    diagonal = FALSE, weights = m$weights, sigma = m$sigma, kinds = I(kinds[wanted]), estimates = I(phi[wanted]), limits = limits
  )
}

both <- function(name, m, formula = NULL, data = NULL, ...) lapply(c(TRUE, FALSE), function(restricted) case(name, m, restricted, formula, data, ...))

line <- function(x) cbind(1, x)
one <- function(n) matrix(1, n, 1)
girls <- subset(as.data.frame(nlme::Orthodont), Sex == "Female")
girls <- data.frame(y = girls$distance, age = girls$age - 11, child = as.integer(factor(as.character(girls$Subject))))
set.seed(51, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
few <- data.frame(patient = rep(1:6, each = 3), time = rep(0:2, 6))
few$y <- round(20 + few$time + rnorm(6, 0, 1.5)[few$patient] + rnorm(6, 0, 0.3)[few$patient] * few$time + rnorm(18), 2)

write_fixture("mixed-profiles", c("lme4", "nlme"), list(cases = c(
  both("sleepstudy", model(sleepstudy$Reaction, line(sleepstudy$Days), line(sleepstudy$Days), as.integer(sleepstudy$Subject)), Reaction ~ Days + (Days | Subject), sleepstudy),
  both("Dyestuff", model(Dyestuff$Yield, one(30), one(30), as.integer(Dyestuff$Batch)), Yield ~ 1 + (1 | Batch), Dyestuff),
  both("Dyestuff2, no variance between batches", model(Dyestuff2$Yield, one(30), one(30), as.integer(Dyestuff2$Batch)), Yield ~ 1 + (1 | Batch), Dyestuff2, by_lme4 = FALSE),
  both("Pastes, casks in batches", model(Pastes$strength, one(60), one(60), as.integer(Pastes$cask), one(60), as.integer(Pastes$batch)), strength ~ 1 + (1 | batch:cask) + (1 | batch), Pastes),
  list(case("Orthodont, girls", model(girls$y, line(girls$age), line(girls$age), girls$child), FALSE, y ~ age + (age | child), girls)),
  both("seeded, six patients", model(few$y, line(few$time), line(few$time), few$patient), y ~ time + (time | patient), few, by_lme4 = FALSE),
  both("seeded, six patients, residual standard deviation known to be 0.8", model(few$y, line(few$time), one(18), few$patient, sigma = 0.8))
)))
