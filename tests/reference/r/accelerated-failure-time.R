# Regressions of log times by survival::survreg with its tolerances tightened: published data (interval-censored,
# right-censored, clustered) and seeded data with exact, left-, right- and interval-censored times, weights and factors.
# Packages: survival 3.5-3.
source("shared/fixture.R")
library(survival)

DISTRIBUTIONS <- c(exponential = "exponential", weibull = "weibull", "log-logistic" = "loglogistic", "log-normal" = "lognormal")
CONTROL <- survreg.control(maxiter = 200, rel.tolerance = 1e-13, toler.chol = 1e-13)
PROBABILITIES <- c(0.1, 0.5, 0.9)

# survreg's own code: a left-censored time has no left end, a right-censored one no right end.
interval_response <- function(left, right) {
  Surv(ifelse(left == 0, NA, left), ifelse(is.finite(right), right, NA), type = "interval2")
}

# Survival at time t for the row x of the design, with limits symmetric in the standardised time.
survival_at <- function(fit, x, t, fixed) {
  z <- (log(t) - sum(x * coef(fit))) / fit$scale
  derivative <- if (fixed) -x / fit$scale else c(-x / fit$scale, -z)
  se <- sqrt(drop(derivative %*% fit$var %*% derivative))
  upper_tail <- function(z) switch(fit$dist,
    exponential = , weibull = exp(-exp(z)), loglogistic = plogis(-z), lognormal = pnorm(-z))
  reach <- qnorm(0.975) * se
  list(survival = upper_tail(z), lower = upper_tail(z + reach), upper = upper_tail(z - reach))
}

# Weighted derivatives of each log-likelihood in the coefficients and log sigma. Written out, because survreg's own
# residuals (survival 3.5-3) have the wrong sign in the scale for interval-censored times and `robust = TRUE` leaves
# the weights out. At the maximum they must add up to zero, which R's do not.
scores <- function(fit, data) {
  x <- model.matrix(fit)
  fixed <- fit$dist == "exponential"
  z <- function(time) drop((log(time) - x %*% coef(fit)) / fit$scale)
  low <- z(data$left)
  high <- z(data$right)
  density <- switch(fit$dist, exponential = , weibull = function(z) exp(z - exp(z)), loglogistic = dlogis, lognormal = dnorm)
  below <- switch(fit$dist, exponential = , weibull = function(z) -expm1(-exp(z)), loglogistic = plogis, lognormal = pnorm)
  log_slope <- switch(fit$dist,
    exponential = , weibull = function(z) 1 - exp(z), loglogistic = function(z) -tanh(z / 2), lognormal = function(z) -z)
  exact <- data$left == data$right
  chance <- below(high) - below(low)
  at_low <- ifelse(exact | !is.finite(low), 0, -density(low) / chance)
  at_high <- ifelse(exact, log_slope(high), ifelse(is.finite(high), density(high) / chance, 0))
  in_mean <- -(at_low + at_high) / fit$scale
  in_scale <- -(ifelse(is.finite(low), low, 0) * at_low + ifelse(is.finite(high), high, 0) * at_high) - exact
  result <- data$weight * cbind(in_mean * x, if (!fixed) in_scale)
  stopifnot(max(abs(colSums(result))) < 1e-6 * nrow(data))
  result
}

one_fit <- function(data, right_hand, distribution, newdata, t, cluster) {
  data$response <- interval_response(data$left, data$right)
  data$weight <- if (is.null(data$weight)) rep(1, nrow(data)) else data$weight
  formula <- as.formula(paste("response ~", right_hand))
  arguments <- list(formula, data = data, weights = quote(weight), dist = DISTRIBUTIONS[[distribution]], control = CONTROL)
  fit <- do.call(survreg, arguments)
  fixed <- distribution == "exponential"
  times <- predict(fit, newdata, type = "uquantile", p = PROBABILITIES, se.fit = TRUE)
  x <- drop(model.matrix(as.formula(paste("~", right_hand)), rbind(data[names(newdata)], newdata))[nrow(data) + 1, ])
  result <- list(
    distribution = distribution, coefficients = I(unname(coef(fit))), scale = fit$scale, covariance = unname(fit$var),
    logLikelihood = fit$loglik[2], nullLogLikelihood = fit$loglik[1], aic = AIC(fit),
    logQuantiles = I(unname(drop(times$fit))), logQuantileErrors = I(unname(drop(times$se.fit))),
    survival = survival_at(fit, x, t, fixed)
  )
  if (!is.null(cluster)) {
    influence <- scores(fit, data) %*% fit$var
    result$robustCovariance <- unname(crossprod(rowsum(influence, cluster)))
  }
  result
}

# Columns in `covariates` are numeric unless they are factors; the row `newdata` is the one predicted for.
case <- function(name, source, data, covariates, newdata, t, cluster = NULL) {
  right_hand <- paste(covariates, collapse = " + ")
  list(
    name = name, source = source, left = I(data$left), right = I(data$right),
    weight = I(if (is.null(data$weight)) rep(1, nrow(data)) else data$weight),
    terms = lapply(covariates, function(term) {
      column <- data[[term]]
      if (is.factor(column)) list(name = term, labels = I(as.character(column)), levels = I(levels(column))) else
        list(name = term, numbers = I(as.numeric(column)))
    }),
    newdata = lapply(newdata, function(value) if (is.factor(value)) as.character(value) else value), time = t,
    cluster = if (!is.null(cluster)) I(cluster),
    fits = lapply(names(DISTRIBUTIONS), function(d) one_fit(data, right_hand, d, newdata, t, cluster))
  )
}

seeded <- function(n, seed) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  age <- round(rnorm(n, 13, 2), 1)
  arm <- factor(sample(c("a", "b", "c"), n, replace = TRUE), levels = c("b", "a", "c"))
  t <- round(exp(1 + 0.1 * (age - 13) + c(0, 0.4, -0.3)[arm] + 0.7 * log(rexp(n))), 3) + 0.001
  kind <- sample(1:4, n, replace = TRUE)
  visit <- ceiling(t)
  left <- ifelse(kind == 1, t, ifelse(kind == 2, 0, ifelse(kind == 3, visit - 1, t * 0.5)))
  right <- ifelse(kind == 1, t, ifelse(kind == 2, visit + 1, ifelse(kind == 3, visit, Inf)))
  data.frame(left = left, right = right, age = age, arm = arm, weight = sample(c(0.5, 1, 2, 3), n, replace = TRUE))
}

heavy <- function(n, seed) {
  data <- seeded(n, seed)
  censored <- seq_len(n) %% 5 != 0
  data$left[censored] <- pmax(0.3, data$left[censored] * 0.3)
  data$right[censored] <- Inf
  data$weight <- NULL
  data
}

cosmetic <- published("cosmetic-deterioration.csv")
cosmetic <- data.frame(left = cosmetic$left, right = ifelse(is.na(cosmetic$right), Inf, cosmetic$right), arm = factor(cosmetic$arm))
lung <- survival::lung[!is.na(survival::lung$ph.ecog), ]
lung <- data.frame(left = lung$time, right = ifelse(lung$status == 2, lung$time, Inf), age = lung$age, sex = factor(lung$sex), ecog = lung$ph.ecog)
kidney <- survival::kidney
catheter <- data.frame(left = kidney$time, right = ifelse(kidney$status == 1, kidney$time, Inf), age = kidney$age, sex = factor(kidney$sex), id = kidney$id)
of <- function(value, like) factor(value, levels = levels(like))

mixed <- seeded(200, 11)
tiny <- seeded(12, 12)
tiny$weight <- NULL
censored <- heavy(150, 13)

write_fixture("accelerated-failure-time", "survival", list(
  probabilities = I(PROBABILITIES),
  cases = list(
    case("cosmetic deterioration by arm", "Finkelstein and Wolfe 1985", cosmetic, "arm",
      data.frame(arm = of("radiotherapy and chemotherapy", cosmetic$arm)), 24),
    case("lung cancer by age, sex and performance", "survival::lung", lung, c("age", "sex", "ecog"),
      data.frame(age = 60, sex = of("2", lung$sex), ecog = 1), 365),
    case("catheter infections, two a patient", "survival::kidney", catheter, c("age", "sex"),
      data.frame(age = 40, sex = of("2", catheter$sex)), 100, catheter$id),
    case("200 seeded, all kinds of censoring, weighted", "seeded(200, 11)", mixed, c("age", "arm"),
      data.frame(age = 14, arm = of("c", mixed$arm)), 2, seq_len(200) %% 40),
    case("12 seeded", "seeded(12, 12)", tiny, "age", data.frame(age = 13), 3),
    case("150 seeded, four fifths right-censored", "heavy(150, 13)", censored, c("age", "arm"),
      data.frame(age = 12, arm = of("a", censored$arm)), 4)
  )
))
