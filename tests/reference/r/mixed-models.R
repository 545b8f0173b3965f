# Linear mixed models: deviances at given relative factors, maxima, Satterthwaite's degrees of freedom, joint tests and
# predicted random effects, by dense algebra (shared/dense-mixed.R), each held inside this script against lme4 (and
# lmerTest, nlme) where these can fit the model.
# Packages: lme4 1.1-31, lmerTest 3.1-3, nlme 3.1-162, numDeriv.
# Data: lme4::sleepstudy, Dyestuff, Dyestuff2, Pastes; nlme::Orthodont (Potthoff and Roy 1964), nlme::Oxboys; seeded.
suppressMessages(library(lme4))
source("shared/fixture.R")
source("shared/dense-mixed.R")

seeded <- function(seed) set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")

# Own level (and rate) of each patient within a centre with its own level (and rate); visits by `visits(i)`.
invented <- function(seed, patients, centres, visits, sd_level = 2, sd_rate = 0.4, sd_centre = 1, from = 0) {
  seeded(seed)
  centre_level <- rnorm(centres, 0, sd_centre)
  centre_rate <- rnorm(centres, 0, 0.3)
  rows <- lapply(seq_len(patients), function(i) {
    centre <- sample(centres, 1)
    time <- from + sort(round(runif(visits(i), 0, 6), 2))
    level <- 30 + rnorm(1, 0, sd_level) + centre_level[centre]
    rate <- 0.8 + rnorm(1, 0, sd_rate) + centre_rate[centre]
    data.frame(patient = i, centre = centre, time = time, y = round(level + rate * (time - from) + rnorm(length(time)), 2))
  })
  do.call(rbind, rows)
}

Sys.setenv(LANG = "C")
exact <- lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE,
  check.nobs.vs.nlev = "ignore", check.nobs.vs.nRE = "ignore", check.conv.singular = "ignore", check.scaleX = "ignore"
)

model <- function(y, X, Z, group, C = NULL, outer = NULL, diagonal = FALSE, weights = rep(1, length(y)), sigma = NULL, restricted = TRUE) {
  list(y = y, X = unname(X), Z = unname(Z), C = unname(C), group = group, outer = outer, diagonal = diagonal, weights = weights, sigma = sigma, restricted = restricted)
}

agree <- function(a, b, within, what) {
  if (max(abs(a - b) / (1e-6 + abs(b))) > within) stop(what, ": ", paste(a, collapse = " "), " against ", paste(b, collapse = " "))
}

# `tried`: relative factors at which deviances are compared. `formula`: the same model for lme4, NULL where it has none.
# `lme`: the same model for nlme, as a function of the method.
case <- function(name, m, tried, formula = NULL, data = NULL, start = NULL, joint = NULL, lme = NULL) {
  m <- prepared(m)
  theta <- start
  if (is.null(formula)) theta <- nlminb(start, function(x) deviance_of(m, x), control = list(rel.tol = 1e-12, iter.max = 500, eval.max = 1000))$par
  by_lmertest <- NULL
  if (!is.null(formula)) {
    frame <- data
    frame$w <- m$weights
    fit <- suppressMessages(suppressWarnings(lmer(formula, frame, REML = m$restricted, weights = w, control = exact)))
    theta <- unname(getME(fit, "theta"))
    by_lme4 <- update(fit, devFunOnly = TRUE)
    for (one in tried) agree(by_lme4(one), deviance_of(m, one), 1e-10, "deviance of lme4")
  }
  theta <- polish_dense(m, theta)
  s <- reduce_dense(m, relative(m, theta))
  df <- length(m$y) - if (m$restricted) ncol(m$X) else 0
  sigma <- if (is.null(m$sigma)) sqrt(s$squares / df) else m$sigma
  deviance <- deviance_of(m, theta)
  covariance <- s$inverse * sigma^2
  cov <- relative(m, theta)
  parameters <- ncol(m$X) + length(theta) + is.null(m$sigma)
  predicted <- predict_dense(m, theta, sigma)
  units <- diag(ncol(m$X))
  if (!is.null(formula)) {
    agree(deviance, -2 * as.numeric(logLik(fit)), 1e-9, "deviance at the optimum")
    agree(s$coefficients, fixef(fit), 1e-5, "coefficients")
    agree(parameters, attr(logLik(fit), "df"), 0, "parameters")
    again <- suppressMessages(suppressWarnings(lmerTest::lmer(formula, frame, REML = m$restricted, weights = w, control = exact)))
    by_lmertest <- I(unname(coef(summary(again))[, "df"]))
  }
  if (!is.null(lme)) {
    by_nlme <- lme(if (m$restricted) "REML" else "ML", nlme::lmeControl(msMaxIter = 500, tolerance = 1e-10, msTol = 1e-12))
    agree(deviance, -2 * as.numeric(logLik(by_nlme)), 1e-8, "deviance of nlme")
    agree(s$coefficients, nlme::fixef(by_nlme), 1e-5, "coefficients of nlme")
  }
  list(
    name = name, criterion = if (m$restricted) "REML" else "ML", call = if (is.null(formula)) NULL else deparse1(formula),
    y = m$y, X = m$X, Z = m$Z, group = m$group, C = m$C, outer = m$outer, diagonal = m$diagonal, weights = m$weights, sigma = m$sigma,
    tried = lapply(tried, function(one) list(theta = I(one), deviance = deviance_of(m, one))),
    logLikelihood = -deviance / 2, aic = deviance + 2 * parameters, bic = deviance + log(length(m$y)) * parameters,
    coefficients = I(s$coefficients), covariance = covariance, residualSd = sigma,
    randomCovariance = cov$G * sigma^2, outerCovariance = if (is.null(cov$H)) NULL else cov$H * sigma^2,
    df = I(satterthwaite(m, theta, sigma, units)), dfOfLmerTest = by_lmertest,
    joint = if (is.null(joint)) NULL else c(list(rows = joint), joint_test(m, theta, sigma, s$coefficients, covariance, joint)),
    effects = I(predicted$effects), conditionalSds = I(predicted$conditionalSds),
    predictionErrors = I(predicted$predictionErrors), fitted = I(predicted$fitted)
  )
}

both <- function(name, m, ...) lapply(c(TRUE, FALSE), function(restricted) case(name, modifyList(m, list(restricted = restricted)), ...))

line <- function(x) cbind(1, x)
one <- function(n) matrix(1, n, 1)

sleep <- sleepstudy
sleep_model <- model(sleep$Reaction, line(sleep$Days), line(sleep$Days), as.integer(sleep$Subject))
sleep_tried <- list(c(1, 0, 1), c(0.93, 0.02, 0.22), c(2, -0.5, 0.01), c(0, 0.3, 0.1), c(30, 4, 7))
ortho <- data.frame(y = nlme::Orthodont$distance, age = nlme::Orthodont$age, male = as.numeric(nlme::Orthodont$Sex == "Male"), child = as.integer(nlme::Orthodont$Subject))
ortho_model <- model(ortho$y, cbind(1, ortho$male, ortho$age, ortho$male * ortho$age), line(ortho$age), ortho$child)
ortho_joint <- rbind(c(0, 1, 0, 0), c(0, 0, 0, 1))
dye <- function(d) model(d$Yield, one(nrow(d)), one(nrow(d)), as.integer(d$Batch))
pastes <- Pastes
pastes_model <- model(pastes$strength, one(60), one(60), as.integer(pastes$cask), one(60), as.integer(pastes$batch))
boys <- data.frame(y = nlme::Oxboys$height, t = nlme::Oxboys$age, boy = as.integer(as.character(nlme::Oxboys$Subject)))
boys_model <- model(boys$y, cbind(1, boys$t, boys$t^2), cbind(1, boys$t, boys$t^2), boys$boy)

four_model <- model(boys$y, cbind(1, boys$t, boys$t^2, boys$t^3), cbind(1, boys$t, boys$t^2, boys$t^3), boys$boy)

many <- invented(41, 48, 7, function(i) sample(1:6, 1))
many_model <- model(many$y, line(many$time), line(many$time), many$patient, line(many$time), many$centre)
sparse <- invented(42, 50, 5, function(i) if (i %% 5 == 0) 3 else 1)
tiny <- data.frame(y = c(3.1, 4.4, 5.2, 4.9, 7.7, 2.0, 2.2), time = c(0, 1, 2, 0, 1, 0, 2), patient = c(1, 1, 1, 2, 2, 3, 3))
years <- invented(43, 20, 4, function(i) sample(2:5, 1), from = 2000)
equal <- invented(44, 15, 3, function(i) 4, sd_level = 3, sd_rate = 0)
equal$y <- round(equal$y + 0.35 * (equal$y - ave(equal$y, equal$patient)) * (ave(equal$y, equal$patient) - mean(equal$y)) / 3, 2)
error <- invented(45, 25, 4, function(i) sample(1:4, 1))
seeded(46)
spread <- round(runif(nrow(error), 0.3, 2), 2)

cases <- c(
  both("sleepstudy", sleep_model, sleep_tried, Reaction ~ Days + (Days | Subject), sleep, joint = diag(2),
    lme = function(method, control) nlme::lme(Reaction ~ Days, sleep, random = ~ Days | Subject, method = method, control = control)),
  list(
    case("sleepstudy, independent effects", modifyList(sleep_model, list(diagonal = TRUE)), list(c(1, 1), c(0.9, 0.2), c(0, 3)),
      Reaction ~ Days + (Days || Subject), sleep),
    case("sleepstudy, weighted", modifyList(sleep_model, list(weights = 1 + (seq_len(180) %% 7) / 3)), sleep_tried, Reaction ~ Days + (Days | Subject), sleep)
  ),
  both("Dyestuff", dye(Dyestuff), list(0, 0.5, 1, 20), Yield ~ 1 + (1 | Batch), Dyestuff),
  both("Dyestuff2, no variance between batches", dye(Dyestuff2), list(0, 0.5, 1), Yield ~ 1 + (1 | Batch), Dyestuff2),
  both("Pastes, casks in batches", pastes_model, list(c(1, 1), c(3.5, 1.3), c(0, 2), c(2, 0)), strength ~ 1 + (1 | batch:cask) + (1 | batch), pastes,
    lme = function(method, control) nlme::lme(strength ~ 1, pastes, random = ~ 1 | batch/cask, method = method, control = control)),
  both("Orthodont", ortho_model, list(c(1, 0, 1), c(1.8, -0.1, 0.13)), y ~ male * age + (age | child), ortho, joint = ortho_joint,
    lme = function(method, control) nlme::lme(y ~ male * age, ortho, random = ~ age | child, method = method, control = control)),
  both("Oxboys, three random effects", boys_model, list(c(1, 0, 0, 1, 0, 1), c(17, 2.3, 0.3, 2.6, 0.9, 1.1)),
    y ~ t + I(t^2) + (t + I(t^2) | boy), boys, joint = rbind(c(0, 1, 0), c(0, 0, 1))),
  list(case("Oxboys, four random effects", four_model, list(c(1, 0, 0, 0, 1, 0, 0, 1, 0, 1), c(17, 2, 0.3, 1, 3, 1, -1, 1, 0.2, 2)),
    y ~ t + I(t^2) + I(t^3) + (t + I(t^2) + I(t^3) | boy), boys)),
  both("seeded, patients in centres, levels and rates of both", many_model, list(c(1, 0, 1, 1, 0, 1), c(2, 0.2, 0.4, 0.8, -0.1, 0.3)),
    y ~ time + (time | patient:centre) + (time | centre), many, joint = rbind(c(0, 1), c(1, 1))),
  list(
    case("seeded, most patients seen once", model(sparse$y, line(sparse$time), one(nrow(sparse)), sparse$patient), list(0.3, 1, 4),
      y ~ time + (1 | patient), sparse),
    case("tiny", model(tiny$y, line(tiny$time), one(7), tiny$patient), list(0.3, 1, 4), y ~ time + (1 | patient), tiny),
    case("seeded, calendar years", model(years$y, line(years$time), one(nrow(years)), years$patient), list(0.3, 1, 4),
      y ~ time + (1 | patient), years),
    case("seeded, perfect correlation", model(equal$y, line(equal$time), line(equal$time), equal$patient), list(c(1, 0.1, 0.1)),
      y ~ time + (time | patient), equal)
  ),
  both("seeded, residual standard deviation known to be 1.1", model(error$y, line(error$time), line(error$time), error$patient, sigma = 1.1),
    list(c(1, 0, 1), c(2, 0.1, 0.3)), start = c(2, 0, 0.4)),
  both("seeded, every residual variance known", model(error$y, line(error$time), one(nrow(error)), error$patient, one(nrow(error)), error$centre, weights = 1 / spread, sigma = 1),
    list(c(1, 1), c(2, 0.5)), start = c(2, 1))
)

write_fixture("mixed-models", c("lme4", "lmerTest", "nlme", "numDeriv"), list(cases = cases))
