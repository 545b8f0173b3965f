# Linear mixed models by dense algebra: the covariance matrix of the responses is formed and factorised block by
# block, straight from its definition. Slow and plain, to judge sparse programs by; every optimum is held against
# lme4 before it is used. Formulas: Laird and Ware 1982; Henderson 1975; Giesbrecht and Burns 1985.
#
# A model is a list: y, X, Z, C (C NULL where nothing is nested), group, outer, diagonal (structure of the inner term),
# weights, sigma (NULL where it is estimated), restricted.

lower_factor <- function(theta, size, diagonal = FALSE) {
  L <- matrix(0, size, size)
  if (diagonal) diag(L) <- theta else L[lower.tri(L, TRUE)] <- theta
  L
}

sizes <- function(m) {
  q <- ncol(m$Z)
  r <- if (is.null(m$C)) 0 else ncol(m$C)
  list(q = q, r = r, inner = if (m$diagonal) q else q * (q + 1) / 2, outer = r * (r + 1) / 2)
}

relative <- function(m, theta) {
  s <- sizes(m)
  list(
    G = tcrossprod(lower_factor(theta[seq_len(s$inner)], s$q, m$diagonal)),
    H = if (s$r > 0) tcrossprod(lower_factor(theta[s$inner + seq_len(s$outer)], s$r)) else NULL
  )
}

block_covariance <- function(m, cov, rows) {
  V <- diag(1 / m$weights[rows], length(rows))
  same <- outer(m$group[rows], m$group[rows], "==")
  Z <- m$Z[rows, , drop = FALSE]
  V <- V + (Z %*% cov$G %*% t(Z)) * same
  if (!is.null(m$C)) {
    C <- m$C[rows, , drop = FALSE]
    V <- V + C %*% cov$H %*% t(C)
  }
  V
}

# Blocks with the same covariance are factorised and whitened together: the rows of one of them, how many they are, and
# their columns [Q, start] side by side.
patterns_of <- function(m, Q, start) {
  rows <- split(seq_along(m$y), if (is.null(m$C)) m$group else m$outer)
  keys <- vapply(rows, function(r) {
    paste(format(c(m$Z[r, ], m$weights[r], match(m$group[r], m$group[r]), if (!is.null(m$C)) m$C[r, ]), digits = 17), collapse = " ")
  }, "")
  lapply(split(rows, factor(keys, unique(keys))), function(blocks) {
    all <- unlist(blocks, use.names = FALSE)
    list(rows = blocks[[1]], count = length(blocks), columns = matrix(cbind(Q, start)[all, ], nrow = length(blocks[[1]])))
  })
}

# Fixed columns are made orthonormal first, so that a covariate far from zero does not spoil the normal equations.
prepared <- function(m) {
  decomposed <- qr(m$X)
  Q <- qr.Q(decomposed)
  start <- m$y - as.vector(Q %*% crossprod(Q, m$y))
  c(m, list(Q = Q, R = qr.R(decomposed), start = start, patterns = patterns_of(m, Q, start)))
}

# Sums over blocks for relative covariances `cov`; the residual variance is 1.
reduce_dense <- function(m, cov) {
  p <- ncol(m$Q)
  normal <- matrix(0, p + 1, p + 1)
  log_det <- 0
  for (pattern in m$patterns) {
    upper <- chol(block_covariance(m, cov, pattern$rows))
    normal <- normal + crossprod(matrix(backsolve(upper, pattern$columns, transpose = TRUE), ncol = p + 1))
    log_det <- log_det + 2 * pattern$count * sum(log(diag(upper)))
  }
  on_q <- seq_len(p)
  information <- normal[on_q, on_q, drop = FALSE]
  shift <- solve(information, normal[on_q, p + 1])
  back <- backsolve(m$R, diag(p))
  coefficients <- as.vector(back %*% (crossprod(m$Q, m$y) + shift))
  list(
    log_det = log_det, inverse = back %*% solve(information, t(back)), coefficients = coefficients,
    squares = normal[p + 1, p + 1] - sum(normal[on_q, p + 1] * shift), residual = m$start - as.vector(m$Q %*% shift),
    log_det_information = as.numeric(determinant(information)$modulus) + 2 * sum(log(abs(diag(m$R))))
  )
}

# Minus twice the log-likelihood; `sigma` NULL: the best one.
deviance_of <- function(m, theta, sigma = m$sigma) deviance_at(m, relative(m, theta), sigma)
deviance_at <- function(m, cov, sigma = m$sigma) {
  s <- reduce_dense(m, cov)
  df <- length(m$y) - if (m$restricted) ncol(m$X) else 0
  variance <- if (is.null(sigma)) s$squares / df else sigma^2
  s$log_det + df * log(2 * pi * variance) + s$squares / variance + if (m$restricted) s$log_det_information else 0
}

slopes_of <- function(f, x, h = 1e-3) {
  e <- diag(length(x)) * h
  sapply(seq_along(x), function(i) (8 * (f(x + e[i, ]) - f(x - e[i, ])) - (f(x + 2 * e[i, ]) - f(x - 2 * e[i, ]))) / (12 * h))
}

# Newton steps with a generalised inverse, so that a component at its bound stays there.
polish_dense <- function(m, theta) {
  f <- function(x) deviance_of(m, x)
  for (round in 1:12) {
    H <- numDeriv::hessian(f, theta)
    e <- eigen(H, symmetric = TRUE)
    keep <- e$values > 1e-7 * max(abs(e$values))
    step <- e$vectors[, keep, drop = FALSE] %*% (crossprod(e$vectors[, keep, drop = FALSE], slopes_of(f, theta)) / e$values[keep])
    theta <- theta - as.vector(step)
    if (max(abs(step) / (1 + abs(theta))) < 1e-9) return(theta)
  }
  stop("not polished to a minimum")
}

satterthwaite <- function(m, theta, sigma, rows) {
  free_sigma <- is.null(m$sigma)
  par <- c(theta, if (free_sigma) sigma)
  own <- seq_along(theta)
  f <- function(x) deviance_of(m, x[own], if (free_sigma) x[length(x)] else m$sigma)
  e <- eigen(numDeriv::hessian(f, par), symmetric = TRUE)
  keep <- e$values > 1e-7 * max(abs(e$values))
  A <- 2 * e$vectors[, keep, drop = FALSE] %*% (t(e$vectors[, keep, drop = FALSE]) / e$values[keep])
  variance_of <- function(l) function(x) {
    s <- if (free_sigma) x[length(x)] else m$sigma
    s^2 * as.numeric(t(l) %*% reduce_dense(m, relative(m, x[own]))$inverse %*% l)
  }
  apply(rows, 1, function(l) {
    g <- numDeriv::grad(variance_of(l), par)
    2 * variance_of(l)(par)^2 / as.numeric(t(g) %*% A %*% g)
  })
}

# F test of all rows together (Fai and Cornelius 1996).
joint_test <- function(m, theta, sigma, coefficients, covariance, rows) {
  e <- eigen(rows %*% covariance %*% t(rows), symmetric = TRUE)
  keep <- e$values > 1e-10 * max(e$values)
  turned <- t(e$vectors[, keep, drop = FALSE]) %*% rows
  t2 <- as.vector(turned %*% coefficients)^2 / e$values[keep]
  nu <- satterthwaite(m, theta, sigma, turned)
  excess <- sum(nu / (nu - 2))
  df <- if (sum(keep) == 1 || max(abs(diff(nu))) < 1e-6) mean(nu) else if (any(nu <= 2)) 2 else 2 * excess / (excess - length(nu))
  F <- mean(t2)
  list(f = F, numeratorDf = sum(keep), denominatorDf = df, p = pf(F, sum(keep), df, lower.tail = FALSE))
}

# Predicted random effects of all terms, their covariance given the responses, and that of prediction errors.
predict_dense <- function(m, theta, sigma) {
  cov <- relative(m, theta)
  n <- length(m$y)
  groups <- if (is.null(m$C)) m$group else paste(m$outer, m$group)
  expand <- function(labels, M) {
    levels <- unique(labels)
    do.call(cbind, lapply(levels, function(level) M * (labels == level)))
  }
  whole <- expand(groups, m$Z)
  G <- kronecker(diag(length(unique(groups))), cov$G)
  if (!is.null(m$C)) {
    outer_columns <- expand(m$outer, m$C)
    H <- kronecker(diag(length(unique(m$outer))), cov$H)
    inner <- ncol(whole)
    whole <- cbind(whole, outer_columns)
    joint <- matrix(0, ncol(whole), ncol(whole))
    joint[seq_len(inner), seq_len(inner)] <- G
    joint[-seq_len(inner), -seq_len(inner)] <- H
    G <- joint
  }
  V <- diag(1 / m$weights, n) + whole %*% G %*% t(whole)
  fit <- reduce_dense(m, cov)
  gain <- G %*% t(whole) %*% solve(V)
  given <- G - gain %*% whole %*% G
  A <- gain %*% m$X
  list(
    effects = as.vector(gain %*% fit$residual),
    conditionalSds = sigma * sqrt(pmax(0, diag(given))),
    predictionErrors = sigma * sqrt(pmax(0, diag(given + A %*% fit$inverse %*% t(A)))),
    fitted = as.vector(m$X %*% fit$coefficients + whole %*% (gain %*% fit$residual))
  )
}

# Absolute standard deviations and correlation in place of relative factors. `phi`: the standard deviations of
# the inner effects, their correlation where there are two, those of the outer effects (one at most), the residual one.
deviance_of_phi <- function(m, phi) {
  s <- sizes(m)
  sd <- phi[seq_len(s$q)]
  rho <- if (s$q == 2) phi[3] else 0
  G <- if (s$q == 2) matrix(c(sd[1]^2, rho * sd[1] * sd[2], rho * sd[1] * sd[2], sd[2]^2), 2) else matrix(sd^2)
  sigma <- if (is.null(m$sigma)) phi[length(phi)] else m$sigma
  H <- if (s$r > 0) matrix(phi[s$q + (s$q == 2) + 1]^2) else NULL
  deviance_at(m, list(G = G / sigma^2, H = if (is.null(H)) NULL else H / sigma^2), sigma)
}

# Profile-likelihood limits of one entry of phi at level 0.95. `kinds`: "sd", "cor" or "residual", one an entry.
profile_limits <- function(m, phi, kinds, index) {
  lowest <- deviance_of_phi(m, phi)
  others <- seq_along(phi)[-index]
  enter <- function(x, kind) if (kind == "cor") atanh(max(-0.9999, min(0.9999, x))) else log(max(x, 1e-3 * phi[length(phi)]))
  leave <- function(u, kind) if (kind == "cor") tanh(u) else exp(u)
  from <- mapply(enter, phi[others], kinds[others])
  best <- function(value, start = from) {
    f <- function(u) {
      full <- phi
      full[index] <- value
      full[others] <- mapply(leave, u, kinds[others])
      # Where the search strays so far that the matrix breaks down, it is to turn back.
      tryCatch(deviance_of_phi(m, full), error = function(e) 1e10)
    }
    if (length(others) == 0) return(f(numeric(0)))
    found <- nlminb(start, f, control = list(rel.tol = 1e-14, x.tol = 1e-12, iter.max = 500, eval.max = 2000))
    # From a second start, lest an effect near zero hold the search.
    again <- nlminb(numeric(length(others)), f, control = list(rel.tol = 1e-14, x.tol = 1e-12, iter.max = 500, eval.max = 2000))
    min(found$objective, again$objective)
  }
  rise <- function(value) sqrt(max(0, best(value) - lowest)) - qnorm(0.975)
  limit <- function(bound, side) {
    inside <- phi[index]
    outside <- bound
    if (is.infinite(bound)) {
      step <- max(inside, phi[length(phi)] / 4)
      outside <- inside + side * step
      while (rise(outside) < 0) {
        inside <- outside
        step <- 2 * step
        outside <- outside + side * step
      }
    } else if (abs(inside - bound) < 1e-9 || rise(bound) <= 0) {
      return(bound)
    }
    ends <- sort(c(inside, outside))
    uniroot(rise, ends, tol = 1e-9 * max(abs(ends)))$root
  }
  range <- switch(kinds[index], sd = c(0, Inf), residual = c(1e-3 * phi[index], Inf), cor = c(-1, 1))
  c(limit(range[1], -1), limit(range[2], 1))
}
