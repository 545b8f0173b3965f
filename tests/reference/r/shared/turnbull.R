# The non-parametric maximum likelihood estimate for interval-censored times, by the definition: mass only on
# innermost intervals (Turnbull 1976, Peto 1973), self-consistency steps, then Newton steps on the masses that stay
# positive, and the Karush-Kuhn-Tucker conditions as proof. Plain R and slow on purpose.
# An observation is (left, right], an exact time when left equals right, right-censored when right is Inf.

# An exact time t is the interval (t-, t]: `before` marks left ends that lie just before their value.
innermost <- function(left, right) {
  ends <- data.frame(
    value = c(left, right),
    is_left = rep(c(TRUE, FALSE), each = length(left)),
    before = c(left == right, rep(FALSE, length(right)))
  )
  # At one value: the left end of an exact time, then right ends, then the open left ends.
  place <- ifelse(ends$is_left, ifelse(ends$before, 0, 2), 1)
  ends <- ends[order(ends$value, place), ]
  here <- which(head(ends$is_left, -1) & !tail(ends$is_left, -1))
  data.frame(left = ends$value[here], right = ends$value[here + 1], exact = ends$before[here])
}

holds <- function(left, right, cells) {
  outer(seq_along(left), seq_len(nrow(cells)), function(i, j) {
    starts_before <- left[i] < cells$left[j] | (left[i] == cells$left[j] & (left[i] == right[i] | !cells$exact[j]))
    (starts_before & cells$right[j] <= right[i]) * 1
  })
}

self_consistency <- function(cover, mass, rounds) {
  for (round in seq_len(rounds)) {
    mass <- mass * as.vector(crossprod(cover, 1 / (cover %*% mass))) / nrow(cover)
  }
  mass / sum(mass)
}

# Newton steps for the likelihood under sum(mass) = 1, on the masses in `support`; NULL when one leaves (0, 1].
newton <- function(cover, mass, support) {
  part <- cover[, support, drop = FALSE]
  p <- mass[support] / sum(mass[support])
  for (round in 1:50) {
    fitted <- as.vector(part %*% p)
    gradient <- as.vector(crossprod(part, 1 / fitted))
    hessian <- -crossprod(part / fitted)
    system <- rbind(cbind(hessian, 1), c(rep(1, length(p)), 0))
    if (rcond(system) < 1e-14) return(NULL)
    step <- solve(system, c(-gradient, 0))[seq_along(p)]
    p <- p + step
    if (any(p <= 0)) return(NULL)
    if (max(abs(step)) < 1e-15) break
  }
  replace(numeric(length(mass)), support, p)
}

turnbull <- function(left, right) {
  cells <- innermost(left, right)
  cover <- holds(left, right, cells)
  mass <- rep(1 / nrow(cells), nrow(cells))
  gap_of <- function(mass) max(crossprod(cover, 1 / (cover %*% mass))) / nrow(cover) - 1
  for (attempt in 1:60) {
    mass <- self_consistency(cover, mass, 500)
    slack <- as.vector(crossprod(cover, 1 / (cover %*% mass))) / nrow(cover) - 1
    polished <- newton(cover, mass, which(mass > 1e-5 & slack > -1e-3))
    if (!is.null(polished) && gap_of(polished) < 1e-12) break
  }
  if (is.null(polished)) stop("no proven maximum")
  support <- polished > 0
  list(
    cells = cells, mass = polished, survival = 1 - cumsum(polished),
    log_likelihood = sum(log(cover %*% polished)), gap = gap_of(polished),
    # The masses are the only solution when the columns that carry mass are independent.
    unique = qr(cover[, support, drop = FALSE])$rank == sum(support)
  )
}
