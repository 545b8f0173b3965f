# A linear mixed model with a random intercept and slope for each child, maximised in plain R well beyond the
# tolerances of the packages: the profiled likelihood (Bates and others 2015, formulas written per child) with
# Newton steps on the factor of the random effects. Every fit is held against lme4 and nlme before it is used.

# `theta` is the lower triangle (a, b, c) of the factor of the random effects' covariance over the residual variance.
profiled <- function(theta, X, y, children, slopes, restricted) {
  factor <- matrix(c(theta[1], theta[2], 0, theta[3]), 2)
  p <- ncol(X)
  information <- matrix(0, p, p)
  right <- numeric(p)
  squares <- 0
  log_det <- 0
  random <- vector("list", length(children))
  for (i in seq_along(children)) {
    rows <- children[[i]]
    Z <- cbind(1, slopes[rows])
    V <- diag(length(rows)) + tcrossprod(Z %*% factor)
    upper <- chol(V)
    Xw <- backsolve(upper, X[rows, , drop = FALSE], transpose = TRUE)
    yw <- backsolve(upper, y[rows], transpose = TRUE)
    information <- information + crossprod(Xw)
    right <- right + as.vector(crossprod(Xw, yw))
    squares <- squares + sum(yw^2)
    log_det <- log_det + 2 * sum(log(diag(upper)))
  }
  coefficients <- solve(information, right)
  squares <- squares - sum(coefficients * right)
  df <- length(y) - if (restricted) p else 0
  log_likelihood <- -0.5 * (df * (log(2 * pi * squares / df) + 1) + log_det)
  if (restricted) log_likelihood <- log_likelihood - 0.5 * as.numeric(determinant(information)$modulus)
  list(
    log_likelihood = log_likelihood, coefficients = coefficients, residual_variance = squares / df,
    covariance = solve(information) * squares / df, random_covariance = tcrossprod(factor) * squares / df
  )
}

derivatives <- function(f, x, h = 1e-3) {
  n <- length(x)
  e <- diag(n) * h
  g <- sapply(1:n, function(i) (8 * (f(x + e[i, ]) - f(x - e[i, ])) - (f(x + 2 * e[i, ]) - f(x - 2 * e[i, ]))) / (12 * h))
  H <- outer(1:n, 1:n, Vectorize(function(i, j) {
    (f(x + e[i, ] + e[j, ]) - f(x + e[i, ] - e[j, ]) - f(x - e[i, ] + e[j, ]) + f(x - e[i, ] - e[j, ])) / (4 * h^2)
  }))
  list(gradient = g, hessian = H)
}

# Newton steps on the profiled log-likelihood from the answer of lme4.
polish <- function(start, objective) {
  theta <- start
  for (round in 1:8) {
    d <- derivatives(objective, theta)
    step <- solve(d$hessian, d$gradient)
    theta <- theta - step
    if (max(abs(step) / (1 + abs(theta))) < 1e-9) return(theta)
  }
  stop("not polished to a maximum")
}

fit_mixed <- function(X, y, child, slopes, restricted) {
  children <- split(seq_along(y), child)
  centre <- mean(slopes) # keeps intercept and slope from being nearly one direction
  slopes <- slopes - centre
  frame <- data.frame(y = y, child = factor(child), slopes = slopes)
  frame$X <- X
  exact <- lme4::lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9))
  by_lme4 <- lme4::lmer(y ~ 0 + X + (slopes | child), frame, REML = restricted, control = exact)
  by_nlme <- nlme::lme(y ~ 0 + X, frame, random = ~ slopes | child, method = if (restricted) "REML" else "ML",
    control = nlme::lmeControl(msMaxIter = 200, tolerance = 1e-9, msTol = 1e-10))
  objective <- function(theta) profiled(theta, X, y, children, slopes, restricted)$log_likelihood
  theta <- polish(lme4::getME(by_lme4, "theta"), objective)
  fit <- profiled(theta, X, y, children, slopes, restricted)
  agree <- function(a, b, within) if (max(abs(a - b) / (1e-8 + abs(a))) > within) stop("the fits disagree")
  agree(fit$log_likelihood, as.numeric(logLik(by_lme4)), 1e-9)
  agree(fit$log_likelihood, as.numeric(logLik(by_nlme)), 1e-8)
  agree(fit$coefficients, lme4::fixef(by_lme4), 1e-5)
  agree(fit$residual_variance, sigma(by_lme4)^2, 1e-4)
  agree(fit$residual_variance, sigma(by_nlme)^2, 1e-3)
  from_birth <- matrix(c(1, 0, -centre, 1), 2)
  fit$random_covariance <- from_birth %*% fit$random_covariance %*% t(from_birth)
  c(fit, list(lme4 = as.numeric(logLik(by_lme4)), nlme = as.numeric(logLik(by_nlme))))
}
