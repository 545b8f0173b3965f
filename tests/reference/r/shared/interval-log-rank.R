# Log-rank tests for interval-censored times, from the formulas: scores under the pooled estimate and their covariance
# over permutations of the labels. Needs shared/turnbull.R.

# Expected events and expected patients at risk of each group in each innermost interval, under the pooled estimate.
sun_scores <- function(left, right) {
  fit <- turnbull(left, right)
  share <- holds(left, right, fit$cells) * rep(fit$mass, each = length(left))
  share <- share / rowSums(share)
  at_risk <- t(apply(share, 1, function(row) rev(cumsum(rev(row)))))
  hazard <- ifelse(colSums(at_risk) > 0, colSums(share) / colSums(at_risk), 0)
  rowSums(share) - as.vector(at_risk %*% hazard)
}

# Derivative at 0 of the log-probability of each observation when S becomes S^exp(b).
finkelstein_scores <- function(left, right) {
  fit <- turnbull(left, right)
  cover <- holds(left, right, fit$cells)
  after <- pmax(0, rev(cumsum(rev(c(fit$mass, 0)))))
  log_probability <- function(b) {
    changed <- after^exp(b)
    log(cover %*% (head(changed, -1) - tail(changed, -1)))
  }
  s_log_s <- ifelse(after > 0, after * log(after), 0)
  scores <- as.vector(cover %*% (head(s_log_s, -1) - tail(s_log_s, -1)) / (cover %*% fit$mass))
  numeric <- as.vector(log_probability(1e-5) - log_probability(-1e-5)) / 2e-5
  stopifnot(max(abs(numeric - scores)) < 1e-6)
  scores
}

permutation_covariance <- function(scores, group) {
  n <- length(scores)
  z <- outer(group, levels(group), "==") * 1
  centred <- sweep(z, 2, colMeans(z))
  sum((scores - mean(scores))^2) / (n - 1) * crossprod(centred)
}

one_test <- function(score_function, left, right, group, stratum) {
  parts <- lapply(split(seq_along(left), stratum), function(rows) {
    scores <- score_function(left[rows], right[rows])
    list(
      sums = tapply(scores - mean(scores), group[rows], sum, default = 0),
      covariance = if (length(rows) > 1) permutation_covariance(scores, group[rows]) else matrix(0, nlevels(group), nlevels(group))
    )
  })
  sums <- Reduce(`+`, lapply(parts, `[[`, "sums"))
  covariance <- Reduce(`+`, lapply(parts, `[[`, "covariance"))
  first <- -nlevels(group)
  statistic <- drop(sums[first] %*% solve(covariance[first, first], sums[first]))
  number <- seq_len(nlevels(group))
  list(
    scores = I(as.vector(sums)), covariance = unname(covariance), statistic = statistic,
    p = pchisq(statistic, nlevels(group) - 1, lower.tail = FALSE),
    trend = sum(number * sums) / sqrt(drop(number %*% covariance %*% number))
  )
}
