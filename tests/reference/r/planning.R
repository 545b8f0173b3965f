# What a planned study is expected to tell, from dense matrices: the information of every way of coming and staying away,
# averaged by its probability, for the growth clock and for the fading part with tau estimated; Satterthwaite's degrees of
# freedom of a whole study from its projection matrix, with derivatives by differences, and from lmerTest on invented
# series; limits of a fading part over all taus by R's optimiser. Packages: lme4 1.1-31, lmerTest 3.1-3. Data: invented.
suppressMessages({
  library(lme4)
  library(lmerTest)
})
source("shared/fixture.R")

exact <- lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5), calc.derivs = FALSE,
  check.conv.singular = "ignore", check.scaleX = "ignore"
)

# Every way of coming: the last year in which the patient is still followed, and which of the years were missed.
ways <- function(years, drop_out, missed) {
  found <- list()
  for (last in 0:years) {
    stays <- (1 - drop_out)^last * (if (last == years) 1 else drop_out)
    choices <- if (last == 0) matrix(logical(0), 1, 0) else as.matrix(expand.grid(rep(list(c(FALSE, TRUE)), last)))
    for (row in seq_len(nrow(choices))) {
      came <- unname(choices[row, ])
      found[[length(found) + 1]] <- list(came = which(came), chance = stays * prod(ifelse(came, 1 - missed, missed)))
    }
  }
  found
}

dense_v <- function(Z, G, s2) Z %*% G %*% t(Z) + diag(s2, nrow(Z))
columns_clock <- function(x) cbind(1, x)

# The mean, over kinds of patients and ways of coming, of a matrix of one patient.
expected <- function(kinds, schedule, one) {
  total <- 0
  for (kind in kinds) for (way in ways(schedule$years, schedule$dropOut, schedule$missed)) {
    came <- kind$awaited[way$came]
    total <- total + way$chance / length(kinds) * one(c(kind$made, came[!is.na(came)]))
  }
  total
}

# v of a whole study as a function of its variances, and their information from the projection matrix.
block <- function(parts) {
  size <- sum(vapply(parts, nrow, 0L)); whole <- matrix(0, size, size); at <- 0
  for (part in parts) { i <- at + seq_len(nrow(part)); whole[i, i] <- part; at <- at + nrow(part) }
  whole
}
satterthwaite <- function(study, G, s2, structure) {
  Zs <- lapply(study, columns_clock); X <- do.call(rbind, Zs)
  theta <- if (structure == "full") c(G[1, 1], G[1, 2], G[2, 2], s2) else c(G[1, 1], G[2, 2], s2)
  whole <- function(theta) {
    G <- if (structure == "full") matrix(theta[c(1, 2, 2, 3)], 2) else diag(theta[1:2])
    block(lapply(Zs, dense_v, G = G, s2 = theta[length(theta)]))
  }
  v <- function(theta) diag(solve(t(X) %*% solve(whole(theta), X)))
  # V is linear in its variances, so a difference over any step is its derivative.
  by <- lapply(seq_along(theta), function(k) { up <- theta; up[k] <- up[k] + 1; whole(up) - whole(theta) })
  Vi <- solve(whole(theta))
  P <- Vi - Vi %*% X %*% solve(t(X) %*% Vi %*% X, t(X) %*% Vi)
  PV <- lapply(by, function(d) P %*% d)
  I <- outer(seq_along(theta), seq_along(theta), Vectorize(function(k, l) sum(PV[[k]] * t(PV[[l]])) / 2))
  slope <- vapply(seq_along(theta), function(k) {
    h <- 1e-4 * max(abs(theta[k]), 0.1); up <- down <- theta; up[k] <- up[k] + h; down[k] <- down[k] - h
    far_up <- far_down <- theta; far_up[k] <- far_up[k] + 2 * h; far_down[k] <- far_down[k] - 2 * h
    (8 * (v(up) - v(down)) - (v(far_up) - v(far_down))) / (12 * h)
  }, c(0, 0))
  2 * v(theta)^2 / rowSums((slope %*% solve(I)) * slope)
}

G <- matrix(c(2.4, -0.25, -0.25, 0.2), 2); s2 <- 0.55
kinds <- list(
  list(made = 2.9, awaited = c(2.5, 1.9, 1.2, 0.7)),
  list(made = 3.3, awaited = c(3.0, 2.4, 1.6, NA)),
  list(made = 1.8, awaited = c(1.1, 0.6, 0.3, 0.1))
)
schedule <- list(years = 4, dropOut = 0.12, missed = 0.2)
clock <- expected(kinds, schedule, function(x) {
  X <- columns_clock(x); t(X) %*% solve(dense_v(X, G, s2), X)
})

study <- c(
  rep(list(c(2.9, 2.5, 1.9, 1.2, 0.7)), 4), rep(list(c(3.3, 2.4)), 3), rep(list(c(1.8, 1.1, 0.1)), 3),
  rep(list(c(3.0)), 2), list(c(3.1, 3.0, 2.2, 0.4)), list(c(2.2, 1.5, 0.6))
)

# The planned fading part: X = [1, exp(-t / tau), derivative by tau], and, with another tau, what is left of the mean.
place <- list(tau = 1.6, lasting = 2.4, passing = 1.8)
fading_kinds <- list(list(made = 0, awaited = 1:5), list(made = c(0, 1.2), awaited = c(2.1, 3.3, NA, 5, 6.2)))
fading_schedule <- list(years = 5, dropOut = 0.1, missed = 0.15)
fade <- function(t, tau) exp(-t / tau)
fading <- expected(fading_kinds, fading_schedule, function(t) {
  Z <- cbind(1, fade(t, place$tau))
  X <- cbind(Z, place$passing * t / place$tau^2 * fade(t, place$tau))
  t(X) %*% solve(dense_v(Z, G, s2), X)
})
at_tau <- function(tau) {
  sums <- expected(fading_kinds, fading_schedule, function(t) {
    Vi <- solve(dense_v(cbind(1, fade(t, place$tau)), G, s2))
    X <- cbind(1, fade(t, tau)); mu <- place$lasting + place$passing * fade(t, place$tau)
    A <- cbind(X, mu); t(A) %*% Vi %*% A
  })
  C <- solve(sums[1:2, 1:2]); b <- C %*% sums[1:2, 3]
  list(tau = tau, fall = drop(sums[3, 3] - t(b) %*% sums[1:2, 1:2] %*% b) / 2, parts = drop(b), covariance = C[c(1, 2, 4)])
}
grid <- seq(log(0.3), log(15), length.out = 40)
on_grid <- lapply(exp(grid), at_tau)
limits_along <- function(n, m) {
  end <- function(sign, one) sign * one$parts[1] + sqrt(max(0, m^2 - 2 * n * one$fall) * one$covariance[1] / n)
  best <- function(sign) {
    open <- vapply(on_grid, function(one) m^2 > 2 * n * one$fall, NA)
    top <- which.max(ifelse(open, vapply(on_grid, end, 0, sign = sign), -Inf))
    around <- grid[pmin(pmax(top + c(-1, 1), 1), length(grid))]
    optimize(function(x) end(sign, at_tau(exp(x))), around, maximum = TRUE, tol = 1e-7)$objective
  }
  c(-best(-1), best(1))
}

# Invented series, read by lmerTest: all visits made, and some of them missed.
series <- function(seed, patients, share) {
  set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  do.call(rbind, lapply(seq_len(patients), function(i) {
    x <- c(3, 2.4, 1.7, 1, 0.4); x <- x[c(TRUE, runif(4) < share)]
    own <- c(rnorm(1, 2.5, 1.5), rnorm(1, 0.8, 0.5))
    data.frame(patient = i, x = x, gain = round(own[1] + own[2] * x + rnorm(length(x), 0, 0.6), 3))
  }))
}
read_by_lmer <- function(name, frame) {
  fit <- lmer(gain ~ x + (x | patient), frame, REML = TRUE, control = exact)
  list(
    name = name, visits = unname(lapply(split(frame$x, frame$patient), I)),
    G = as.numeric(VarCorr(fit)$patient)[c(1, 2, 4)], s2 = sigma(fit)^2,
    errors = unname(sqrt(diag(as.matrix(vcov(fit))))),
    df = unname(coef(summary(fit, ddf = "Satterthwaite"))[, "df"])
  )
}

write_fixture("planning", c("lme4", "lmerTest"), list(
  components = list(G = G[c(1, 2, 4)], s2 = s2),
  clock = list(
    kinds = lapply(kinds, function(kind) list(made = I(kind$made), awaited = kind$awaited)), schedule = schedule,
    information = clock[c(1, 2, 4)], errorsOfTwenty = unname(sqrt(diag(solve(20 * clock))))
  ),
  whole = list(
    visits = lapply(study, I), full = satterthwaite(study, G, s2, "full"),
    diagonal = satterthwaite(study, diag(diag(G)), s2, "diagonal")
  ),
  fading = list(
    place = place, kinds = lapply(fading_kinds, function(kind) list(made = I(kind$made), awaited = kind$awaited)),
    schedule = fading_schedule, varianceOfLasting = solve(fading)[1, 1],
    taus = lapply(c(0.5, 1.2, 1.6, 2.5, 9), at_tau),
    limits = lapply(c(20, 60, 300), function(n) list(patients = n, multiplier = 2.05, lasting = limits_along(n, 2.05)))
  ),
  series = list(
    read_by_lmer("12 patients, every visit made", series(3, 12, 1)),
    read_by_lmer("30 patients, some visits missed", series(4, 30, 0.7)),
    read_by_lmer("80 patients, some visits missed", series(5, 80, 0.7))
  )
))
