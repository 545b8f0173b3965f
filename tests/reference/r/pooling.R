# Pooling of studies: metafor's rma.uni, confint, predict, leave1out, with its iterations driven to the end.
# Packages: metafor, metadat. Data: dat.bcg (Colditz 1994), dat.normand1999, dat.hackshaw1998, dat.raudenbush1985,
# dat.hart1999 from metadat, and seeded awkward ones.
suppressMessages(library(metafor))
source("shared/fixture.R")

estimators <- c(REML = "restricted-maximum-likelihood", ML = "maximum-likelihood", PM = "paule-mandel",
  DL = "dersimonian-laird", HE = "hedges")
tests <- c(adhoc = "hartung-knapp-floored", knha = "hartung-knapp", z = "wald")

# Metafor's threshold is absolute, in the square of the estimates' unit.
pool <- function(yi, vi, mods = NULL, ...) {
  control <- list(threshold = 1e-13 * var(yi), maxiter = 10000, tol = 1e-15 * var(yi), tau2.max = 1e9 * max(vi))
  if (is.null(mods)) rma(yi, vi, control = control, ...) else rma(yi, vi, mods = mods, control = control, ...)
}

# The optimum of metafor's Fisher scoring is polished by the root of the derivative it stops at.
polished <- function(yi, vi, mods, method) {
  X <- if (is.null(mods)) matrix(1, length(yi), 1) else cbind(1, mods)
  fit <- pool(yi, vi, mods, method = method)
  if (!(method %in% c("REML", "ML", "PM"))) return(max(0, fit$tau2))
  # Its iteration stops a little above a maximum at 0.
  if (fit$tau2 <= 1e-10 * min(vi)) return(0)
  slope <- function(t) {
    W <- diag(1 / (vi + t))
    P <- W - W %*% X %*% solve(t(X) %*% W %*% X) %*% t(X) %*% W
    Py <- P %*% yi
    if (method == "PM") return(drop(t(yi) %*% Py) - (length(yi) - ncol(X)))
    sum(Py^2) - if (method == "REML") sum(diag(P)) else sum(diag(W))
  }
  uniroot(slope, fit$tau2 * c(1 - 1e-3, 1 + 1e-3), tol = 1e-15 * fit$tau2, extendInt = "downX")$root
}

# Q-profile limits: metafor's own, with tight tolerance and a wide range.
q_profile <- function(fit) {
  limits <- suppressMessages(confint(fit, control = list(tol = 1e-15 * max(fit$vi), maxiter = 100000, tau2.max = 1e8 * max(fit$vi))))
  r <- limits$random
  list(lower = r["tau^2", "ci.lb"], upper = r["tau^2", "ci.ub"], tooAlike = isTRUE(limits$ci.null),
    iSquaredLower = r["I^2(%)", "ci.lb"] / 100, iSquaredUpper = r["I^2(%)", "ci.ub"] / 100,
    hSquaredLower = r["H^2", "ci.lb"], hSquaredUpper = r["H^2", "ci.ub"])
}

# The variance of metafor's fit taken as given: all the rest is a closed form.
fit_at <- function(yi, vi, tau2, mods = NULL, method = "REML", test = "adhoc", level = 95) {
  pool(yi, vi, mods, method = method, test = test, tau2 = tau2, level = level)
}

mean_by <- function(yi, vi, tau2, test, level) {
  fit <- fit_at(yi, vi, tau2, test = test, level = 100 * level)
  k <- length(yi)
  predicted <- function(df) {
    if (df < 1) return(NULL)
    half <- qt((1 + level) / 2, df) * sqrt(tau2 + fit$se^2)
    c(drop(fit$beta) - half, drop(fit$beta) + half)
  }
  list(interval = unname(tests[test]), estimate = drop(unname(fit$beta)), standardError = fit$se, lower = fit$ci.lb,
    upper = fit$ci.ub, statistic = fit$zval, p = fit$pval, predictionTwo = predicted(k - 2), predictionOne = predicted(k - 1))
}

analysis <- function(yi, vi, method, level) {
  tau2 <- polished(yi, vi, NULL, method)
  free <- pool(yi, vi, method = method, level = 100 * level)
  at <- fit_at(yi, vi, tau2, method = method, test = "knha", level = 100 * level)
  c(list(estimator = unname(estimators[method]), tauSquared = tau2,
    logLikelihood = if (method %in% c("REML", "ML")) unname(free$fit.stats["ll", method]) else NULL,
    varianceFactor = at$s2w, iSquared = at$I2 / 100, hSquared = at$H2, weights = I(unname(weights(at)) / 100),
    means = lapply(names(tests), function(test) mean_by(yi, vi, tau2, test, level))))
}

equal_weights <- function(yi, level) {
  test <- t.test(yi, conf.level = level)
  list(estimate = unname(test$estimate), standardError = test$stderr, lower = test$conf.int[1], upper = test$conf.int[2],
    statistic = unname(test$statistic), p = test$p.value)
}

# Where the likelihood has two maxima metafor may end at the one next to its start, unless that at 0 is higher; the
# higher is the estimate.
two_modes <- function(name, yi, vi, method) {
  fits <- lapply(c(0, 1e-3, 1, 10) * var(yi), function(start) {
    suppressWarnings(rma(yi, vi, method = method, control = list(tau2.init = start, threshold = 1e-13 * var(yi), maxiter = 10000)))
  })
  heights <- sapply(fits, function(fit) fit$fit.stats["ll", method])
  best <- fits[[which.max(heights)]]
  list(name = name, estimate = yi, variance = vi, estimator = unname(estimators[method]), tauSquared = best$tau2,
    logLikelihood = max(heights), lowest = min(heights), mean = drop(unname(best$beta)))
}

case <- function(name, yi, vi, level = 0.95) {
  yi <- as.numeric(yi)
  vi <- as.numeric(vi)
  common <- rma(yi, vi, method = "FE", level = 100 * level)
  free <- pool(yi, vi, method = "DL", level = 100 * level)
  list(name = name, estimate = yi, variance = vi, level = level,
    common = list(estimate = drop(unname(common$beta)), standardError = common$se, lower = common$ci.lb,
      upper = common$ci.ub, statistic = common$zval, p = common$pval, weights = I(unname(weights(common)) / 100)),
    equalWeights = equal_weights(yi, level), q = free$QE, qP = free$QEp, tauSquaredInterval = q_profile(free),
    analyses = lapply(names(estimators), function(method) analysis(yi, vi, method, level)))
}

# Leaving out each study, each time the whole analysis of the others.
left_out <- function(yi, vi) {
  lapply(seq_along(yi), function(i) {
    tau2 <- polished(yi[-i], vi[-i], NULL, "REML")
    fit <- fit_at(yi[-i], vi[-i], tau2)
    list(estimate = drop(unname(fit$beta)), standardError = fit$se, lower = fit$ci.lb, upper = fit$ci.ub, p = fit$pval,
      tauSquared = tau2, iSquared = fit$I2 / 100, q = fit$QE, qP = fit$QEp)
  })
}

coefficients <- function(fit) {
  lapply(seq_along(fit$beta), function(j) list(estimate = fit$beta[j], standardError = fit$se[j], lower = fit$ci.lb[j],
    upper = fit$ci.ub[j], statistic = fit$zval[j], p = fit$pval[j]))
}

regression <- function(name, yi, vi, terms) {
  yi <- as.numeric(yi)
  vi <- as.numeric(vi)
  mods <- model.matrix(as.formula(paste("~", paste(names(terms), collapse = " + "))), as.data.frame(terms))[, -1, drop = FALSE]
  fits <- lapply(names(estimators), function(method) {
    tau2 <- polished(yi, vi, mods, method)
    without <- polished(yi, vi, NULL, method)
    free <- pool(yi, vi, mods, method = method)
    lapply(names(tests), function(test) {
      fit <- fit_at(yi, vi, tau2, mods, method, test)
      list(estimator = unname(estimators[method]), interval = unname(tests[test]), tauSquared = tau2,
        tauSquaredWithout = without, rSquared = if (without > 0) max(0, 1 - tau2 / without) else NULL,
        logLikelihood = if (method %in% c("REML", "ML")) unname(free$fit.stats["ll", method]) else NULL,
        coefficients = coefficients(fit), omnibus = fit$QM, omnibusP = fit$QMp,
        iSquared = fit$I2 / 100, hSquared = fit$H2, q = fit$QE, qP = fit$QEp)
    })
  })
  at <- pool(yi, vi, mods, method = "DL")
  list(name = name, estimate = yi, variance = vi,
    terms = lapply(names(terms), function(term) list(kind = if (is.numeric(terms[[term]])) "numeric" else "factor",
      name = term, values = if (is.factor(terms[[term]])) as.character(terms[[term]]) else terms[[term]])),
    tauSquaredInterval = q_profile(at), fits = unlist(fits, recursive = FALSE))
}

grouped <- function(name, yi, vi, group) {
  yi <- as.numeric(yi)
  vi <- as.numeric(vi)
  group <- as.character(group)
  factored <- factor(group, levels = unique(group))
  mods <- model.matrix(~factored)[, -1, drop = FALSE]
  tau2 <- polished(yi, vi, mods, "REML")
  cells <- model.matrix(~ factored - 1)
  shared <- lapply(names(tests), function(test) {
    means <- pool(yi, vi, cells, intercept = FALSE, tau2 = tau2, test = test)
    between <- pool(yi, vi, mods, tau2 = tau2, test = test)
    list(interval = unname(tests[test]), means = coefficients(means), statistic = between$QM, p = between$QMp)
  })
  enough <- all(table(factored) > 1)
  own <- if (enough) {
    fits <- lapply(levels(factored), function(level) {
      at <- polished(yi[group == level], vi[group == level], NULL, "REML")
      fit_at(yi[group == level], vi[group == level], at)
    })
    wald <- sapply(levels(factored), function(level) {
      at <- polished(yi[group == level], vi[group == level], NULL, "REML")
      1 / sum(1 / (vi[group == level] + at))
    })
    means <- sapply(fits, function(fit) drop(fit$beta))
    scatter <- rma(means, wald, method = "FE")
    list(means = lapply(fits, function(fit) list(estimate = drop(unname(fit$beta)), standardError = fit$se,
      lower = fit$ci.lb, upper = fit$ci.ub, tauSquared = fit$tau2, q = fit$QE, qP = fit$QEp)),
      statistic = scatter$QE, p = scatter$QEp)
  }
  list(name = name, estimate = yi, variance = vi, group = group, tauSquared = tau2, shared = shared, own = own)
}

bcg <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
normand <- escalc(measure = "MD", m1i = m1i, sd1i = sd1i, n1i = n1i, m2i = m2i, sd2i = sd2i, n2i = n2i, data = dat.normand1999)
hackshaw <- dat.hackshaw1998
raudenbush <- dat.raudenbush1985
hart <- escalc(measure = "IRR", x1i = x1i, x2i = x2i, t1i = t1i, t2i = t2i, data = dat.hart1999)

set.seed(20261125)
seeded <- function(k, tau, low, high) {
  vi <- exp(runif(k, log(low), log(high)))
  list(y = rnorm(k, 0.4, sqrt(vi + tau^2)), v = vi)
}
unequal <- seeded(8, 0.5, 1e-4, 1)
extreme <- seeded(6, 0.3, 1e-6, 10)
two <- seeded(2, 1, 0.1, 0.3)
three <- seeded(3, 0, 0.05, 2)
many <- seeded(60, 0.2, 0.01, 0.3)
huge <- seeded(5, 1000, 0.1, 1)
tiny <- list(y = 1e-6 * many$y[1:9], v = 1e-12 * many$v[1:9])
set.seed(7)
covered <- seeded(14, 0.3, 0.01, 0.5)
year <- 2000 + seq_along(covered$y) + 0.5 * rnorm(14)
arm <- rep(c("a", "b", "c"), c(6, 4, 4))

write_fixture("pooling", c("metafor", "metadat"), list(
  cases = list(
    case("BCG vaccine, log risk ratios (Colditz 1994)", bcg$yi, bcg$vi),
    case("length of stay after stroke, days (Normand 1999)", normand$yi, normand$vi),
    case("passive smoking, log odds ratios (Hackshaw 1998)", hackshaw$yi, hackshaw$vi, 0.9),
    case("teachers' expectations (Raudenbush 1985)", raudenbush$yi, raudenbush$vi),
    case("warfarin, log rate ratios (Hart 1999)", hart$yi, hart$vi),
    case("seeded: variances over four decades", unequal$y, unequal$v),
    case("seeded: variances over seven decades", extreme$y, extreme$v),
    case("seeded: two studies", two$y, two$v),
    case("seeded: three studies, no heterogeneity, level 0.8", three$y, three$v, 0.8),
    case("seeded: sixty studies", many$y, many$v),
    case("seeded: heterogeneity a million times the variances", huge$y, huge$v),
    case("seeded: micrometres told in metres", tiny$y, tiny$v),
    case("constructed: closer together than chance", c(1, 1.01, 0.99, 1.005, 0.998, 1.002), c(0.2, 0.3, 0.1, 0.5, 0.25, 0.2)),
    case("warfarin at level 0.999", hart$yi, hart$vi, 0.999),
    case("constructed: equal variances", c(-0.3, 0.9, 0.2, 1.4, 0.7), rep(0.1, 5))
  ),
  severalModes = list(
    two_modes("constructed: the higher maximum at 0", c(-1.3, -0.8, 3.7, 2.7), c(0.713, 0.018, 4.158, 23.012), "REML"),
    two_modes("constructed: the higher maximum above 0", c(-1.9, 1.6, -3, -4.7, 1.5, -4.3), c(0.876, 0.028, 10.847, 7.109, 0.027, 15.531), "REML")
  ),
  leaveOneOut = list(
    list(name = "BCG vaccine", estimate = as.numeric(bcg$yi), variance = as.numeric(bcg$vi), without = left_out(as.numeric(bcg$yi), as.numeric(bcg$vi))),
    list(name = "warfarin", estimate = as.numeric(hart$yi), variance = as.numeric(hart$vi), without = left_out(as.numeric(hart$yi), as.numeric(hart$vi)))
  ),
  regressions = list(
    regression("BCG vaccine by latitude", bcg$yi, bcg$vi, list(latitude = bcg$ablat)),
    regression("BCG vaccine by year", bcg$yi, bcg$vi, list(year = bcg$year)),
    regression("BCG vaccine by latitude and allocation", bcg$yi, bcg$vi, list(latitude = bcg$ablat, allocation = factor(bcg$alloc))),
    regression("teachers' expectations by weeks of contact", raudenbush$yi, raudenbush$vi, list(weeks = raudenbush$weeks)),
    regression("seeded: by calendar year", covered$y, covered$v, list(year = year))
  ),
  subgroups = list(
    grouped("BCG vaccine by allocation", bcg$yi, bcg$vi, bcg$alloc),
    grouped("seeded: three groups", covered$y, covered$v, arm),
    grouped("seeded: a group of one", covered$y[1:7], covered$v[1:7], c("a", "a", "a", "b", "b", "b", "c"))
  )
))
