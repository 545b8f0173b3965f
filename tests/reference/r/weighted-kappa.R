# Weighted kappa. Packages: psych (kappa, and its variance where unweighted); binom.test for shares.
# Of weighted kappa psych 2.2.9 gives a variance that is not that of Fleiss, Cohen and Everitt 1969 (it is 0 for a table
# with a category never used), so the variance that does not assume 0 is taken from the delta method itself: kappa as a
# function of the cells' shares, its slopes by complex steps, exact to rounding. Where unweighted, psych must agree with
# it, and the script stops if not. The variance under no agreement: formula of the same paper.
# Data: the 3 by 3 table of Fleiss, Cohen and Everitt 1969 (from memory; as reprinted in psych), and seeded stages.
source("shared/fixture.R")
suppressMessages(library(psych))
set.seed(1969)

null_error <- function(counts, w) {
  n <- sum(counts)
  p <- rowSums(counts) / n
  q <- colSums(counts) / n
  chance <- outer(p, q)
  expected <- sum(w * chance)
  mean_weight <- outer(c(w %*% q), c(t(w) %*% p), "+")
  sqrt((sum(chance * (w - mean_weight)^2) - expected^2) / (n * (1 - expected)^2))
}

weighted <- function(p, w) {
  expected <- sum(w * outer(rowSums(p), colSums(p)))
  (sum(w * p) - expected) / (1 - expected)
}

delta_error <- function(counts, w) {
  p <- counts / sum(counts)
  slope <- p
  for (cell in seq_along(p)) {
    stepped <- p + 0i
    stepped[cell] <- stepped[cell] + 1e-30i
    slope[cell] <- Im(weighted(stepped, w)) / 1e-30
  }
  sqrt((sum(p * (slope - sum(p * slope))^2)) / sum(counts))
}

case <- function(name, counts, weights, table_of_weights = NULL, level = 0.95) {
  k <- nrow(counts)
  distance <- abs(outer(1:k, 1:k, "-"))
  w <- switch(weights, unweighted = 1 * (distance == 0), linear = 1 - distance / (k - 1), quadratic = 1 - distance^2 / (k - 1)^2, given = table_of_weights)
  result <- suppressWarnings(cohen.kappa(counts, w = w, n.obs = sum(counts), alpha = 1 - level))
  n <- sum(counts)
  error <- delta_error(counts, w)
  if (weights == "unweighted") stopifnot(abs(error / sqrt(result$var.kappa) - 1) < 1e-12)
  share <- function(count) {
    test <- binom.test(count, n, conf.level = level)
    list(share = count / n, lower = test$conf.int[1], upper = test$conf.int[2])
  }
  list(name = name, table = counts, weights = if (weights == "given") w else weights, level = level, kappa = result$weighted.kappa,
    standardError = error, nullStandardError = null_error(counts, w), observedAgreement = sum(w * counts) / n,
    expectedAgreement = sum(w * outer(rowSums(counts), colSums(counts))) / n^2,
    sameCategory = share(sum(counts[distance == 0])), withinOne = share(sum(counts[distance <= 1])))
}

fleiss <- matrix(c(106, 10, 4, 22, 28, 10, 2, 12, 6), 3, byrow = TRUE)
fleiss_weights <- matrix(c(1, 0, 0.4444, 0, 1, 0.6666, 0.4444, 0.6666, 1), 3)
stages <- function(n, spread) {
  true_stage <- sample(1:6, n, TRUE)
  rated <- function() factor(pmin(6, pmax(1, round(true_stage + rnorm(n, 0, spread)))), 1:6)
  matrix(table(rated(), rated()), 6)
}
good <- stages(120, 0.5)
few <- stages(12, 0.9)
poor <- stages(60, 4)
write_fixture("weighted-kappa", "psych", list(tables = list(
  case("Fleiss, Cohen and Everitt 1969, unweighted", fleiss, "unweighted"),
  case("Fleiss, Cohen and Everitt 1969, their weights", fleiss, "given", fleiss_weights),
  case("six stages, linear", good, "linear"),
  case("six stages, quadratic, level 0.9", good, "quadratic", level = 0.9),
  case("six stages, unweighted", good, "unweighted"),
  case("twelve subjects, linear", few, "linear"),
  case("hardly any agreement, quadratic", poor, "quadratic"),
  case("less agreement than by chance", matrix(c(2, 9, 11, 3), 2), "unweighted"),
  case("a category never used", matrix(c(8, 2, 0, 1, 9, 0, 0, 0, 0), 3), "linear")
)))
