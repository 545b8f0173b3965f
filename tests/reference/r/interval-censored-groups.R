# Log-rank tests for interval-censored times, written from the formulas: Sun's pseudo risk sets (Sun 1996) and the
# efficient score of grouped proportional hazards (Finkelstein 1986), with the covariance over permutations of the
# labels (Fay 1996); for a tiny sample over all permutations, one by one. The pooled estimate is that of
# shared/turnbull.R. survival::survdiff where all times are exact or right-censored.
# Packages: survival 3.5-3.
source("shared/fixture.R")
source("shared/turnbull.R")
source("shared/interval-log-rank.R")
library(survival)

case <- function(name, source, left, right, group, stratum = rep(1, length(left))) {
  group <- factor(group)
  list(
    name = name, source = source, left = I(left), right = I(right), group = I(as.character(group)), stratum = I(as.character(stratum)),
    sun = one_test(sun_scores, left, right, group, stratum),
    finkelstein = one_test(finkelstein_scores, left, right, group, stratum)
  )
}

# Every assignment of the labels: the mean of the squares is the covariance, the share as far out the exact p value.
enumerated <- function(left, right, in_first) {
  scores <- sun_scores(left, right)
  scores <- scores - mean(scores)
  sums <- combn(length(left), sum(in_first), function(chosen) sum(scores[chosen]))
  observed <- abs(sum(scores[in_first]))
  list(left = I(left), right = I(right), first = I(in_first), variance = mean(sums^2), p = mean(abs(sums) >= observed - 1e-9))
}

against_survdiff <- function(name, time, status, group, stratum = rep(1, length(time))) {
  group <- factor(as.character(group))
  test <- survdiff(Surv(time, status) ~ group + strata(stratum))
  excess <- if (is.matrix(test$obs)) rowSums(test$obs - test$exp) else test$obs - test$exp
  list(name = name, time = I(time), status = I(status), group = I(as.character(group)), stratum = I(as.character(stratum)), excess = I(as.vector(excess)))
}

seeded <- function(n, seed, groups, exact_share) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  group <- sample(groups, n, replace = TRUE)
  rows <- lapply(seq_len(n), function(i) {
    event <- ceiling(60 * rexp(1) / (1 + 0.3 * match(group[i], groups)))
    visits <- 12 * (1:6) + sample(-2:2, 6, replace = TRUE)
    seen <- c(0, visits[runif(6) < 0.8])
    if (runif(1) < exact_share) return(c(event, event))
    if (event > max(seen)) return(c(max(seen), Inf))
    c(max(seen[seen < event]), min(seen[seen >= event]))
  })
  data.frame(left = sapply(rows, `[`, 1), right = sapply(rows, `[`, 2), group = group)
}

cosmetic <- published("cosmetic-deterioration.csv")
cosmetic$right[is.na(cosmetic$right)] <- Inf
three <- seeded(90, 21, c("a", "b", "c"), 0)
mixed <- seeded(120, 22, c("a", "b", "c", "d"), 0.3)
strata <- rep(c("p", "q", "r"), 40)
tiny <- seeded(10, 23, c("a", "b"), 0)
lung <- survival::lung[!is.na(survival::lung$ph.ecog), ]

write_fixture("interval-censored-groups", "survival", list(
  cases = list(
    case("cosmetic deterioration by arm", "Finkelstein and Wolfe 1985", cosmetic$left, cosmetic$right, cosmetic$arm),
    case("90 seeded in three groups", "seeded(90, 21)", three$left, three$right, three$group),
    case("120 seeded in four groups and three strata, some times exact", "seeded(120, 22)", mixed$left, mixed$right, mixed$group, strata)
  ),
  enumerated = enumerated(tiny$left, tiny$right, tiny$group == "a"),
  exact = list(
    against_survdiff("lung cancer by performance", lung$time, lung$status - 1, lung$ph.ecog),
    against_survdiff("lung cancer by sex within performance", lung$time, lung$status - 1, lung$sex, lung$ph.ecog),
    against_survdiff("veterans by cell type", survival::veteran$time, survival::veteran$status, survival::veteran$celltype)
  )
))
