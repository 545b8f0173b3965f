# What gave way, worked from docs/methods.md: changes of overjet, molar relation and chin split into what moved, means
# with t limits, skeletal share with Fieller's set, and untreated children of the same ages beside. From the positions of
# the points alone: each part is a difference of two distances, never a formula of the program.
# Packages: none beyond R. Invented children, drawn with a fixed seed; ages only, at natural size.
source("shared/fixture.R")

POINTS <- c("ss", "pg", "is", "ii", "ms", "mi", "co")

drawn <- function() {
  set.seed(77, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  child <- function(code, group, ages) {
    own <- rnorm(length(POINTS), c(72, 74, 80, 73, 50, 48, 11), 3)
    move <- if (group == "treated") c(-0.2, 2.2, -0.9, 2.8, -0.6, 2.4, -0.3) else c(0.7, 0.9, 0.7, 0.9, 0.8, 0.9, 0.2)
    do.call(rbind, lapply(seq_along(ages), function(i) {
      at <- own + move * (ages[i] - ages[1]) * ifelse(ages[i] > ages[1] + 1.2 & group == "treated", 0.6, 1) + rnorm(length(POINTS), 0, 0.6)
      jaw <- 108 + 2 * (ages[i] - ages[1]) + rnorm(1, 0, 0.7)
      data.frame(code = code, group = group, kind = if (group == "treated") c("start", "end_of_active", rep("follow_up", 9))[i] else "follow_up",
        age = ages[i], t(setNames(round(at, 1), POINTS)), length = round(jaw, 1))
    }))
  }
  treated <- lapply(1:15, function(i) {
    start <- round(runif(1, 11, 13), 2)
    child(sprintf("T%02d", i), "treated", round(start + c(0, 1, 1 + c(1.05, 2.1, 2.9)[seq_len(c(1, 2, 3, 3)[1 + i %% 4])]), 2))
  })
  untreated <- lapply(1:9, function(i) child(sprintf("U%02d", i), "untreated", round(runif(1, 9, 11) + (0:5) * 1.1, 2)))
  do.call(rbind, c(treated, untreated))
}
visits <- drawn()
by_child <- split(visits, visits$code)
treated <- Filter(function(one) one$group[1] == "treated", by_child)
untreated <- Filter(function(one) one$group[1] == "untreated", by_child)

# How far each thing came forward (or, for the upper ones, back) between two visits.
forward <- function(a, b, point) b[[point]] - a[[point]]
within <- function(a, b, point, base) (b[[point]] - b[[base]]) - (a[[point]] - a[[base]])
overjet <- function(a, b) c((a$is - a$ii) - (b$is - b$ii), -forward(a, b, "ss"), forward(a, b, "pg"), -within(a, b, "is", "ss"), within(a, b, "ii", "pg"))
molar <- function(a, b) c((a$ms - a$mi) - (b$ms - b$mi), -forward(a, b, "ss"), forward(a, b, "pg"), -within(a, b, "ms", "ss"), within(a, b, "mi", "pg"))
# The jaw as a line from the condyle to the chin: reach along the occlusal line = length times the cosine of its tilt.
# What a longer jaw brings is the mean over both orders of changing length and tilt.
tilt <- function(a) acos((a$pg + a$co) / a$length)
chin <- function(a, b) {
  longer <- ((b$length - a$length) * cos(tilt(a)) + (b$length - a$length) * cos(tilt(b))) / 2
  turned <- (a$length * (cos(tilt(b)) - cos(tilt(a))) + b$length * (cos(tilt(b)) - cos(tilt(a)))) / 2
  c(forward(a, b, "pg"), longer, turned, -forward(a, b, "co"))
}
turn <- function(a, b) (tilt(a) - tilt(b)) / pi * 180

late <- function(one, year) {
  years <- one$age - one$age[one$kind == "end_of_active"]
  open <- which(one$kind == "follow_up" & years > year - 0.5 & years <= year + 0.5)
  if (length(open) == 0) NULL else one[open[which.min(abs(years[open] - year))], ]
}
counts <- sapply(1:5, function(year) sum(sapply(treated, function(one) !is.null(late(one, year)))))
year <- max(which(counts >= 10))

pair_of <- function(one, span) {
  start <- one[one$kind == "start", ]
  end <- one[one$kind == "end_of_active", ]
  after <- if (span == "treatment") end else late(one, year)
  if (is.null(after)) NULL else list(before = if (span == "since") end else start, after = after)
}

split_span <- function(parts_of, span, skeletal) {
  pairs <- Filter(length, lapply(treated, pair_of, span))
  rows <- do.call(rbind, lapply(pairs, function(pair) parts_of(pair$before, pair$after)))
  if (is.null(dim(rows))) rows <- matrix(rows, ncol = 1)
  years <- mean(sapply(pairs, function(pair) pair$after$age - pair$before$age))
  youngest <- quantile(sapply(pairs, function(pair) pair$before$age), 0.1, names = FALSE)
  oldest <- quantile(sapply(pairs, function(pair) pair$after$age), 0.9, names = FALSE)
  grown <- do.call(rbind, lapply(untreated, function(one) {
    inside <- one[one$age >= youngest & one$age <= oldest, ]
    span <- max(inside$age) - min(inside$age)
    if (nrow(inside) < 2 || span < 1) return(NULL)
    rbind(parts_of(inside[1, ], inside[nrow(inside), ])) / span * years
  }))
  n <- nrow(rows)
  part <- function(j) {
    limits <- t.test(rows[, j])$conf.int
    c(list(mean = mean(rows[, j]), lower = limits[1], upper = limits[2]), if (!is.null(grown) && nrow(grown) >= 5) list(untreated = mean(grown[, j]), untreatedN = nrow(grown)))
  }
  # Fieller: all ratios r for which the mean of y - r x is not apart from 0; its two ends by root finding.
  share <- if (skeletal) {
    y <- rows[, 2] + rows[, 3]
    x <- rows[, 1]
    apart <- function(r) mean(y - r * x)^2 - qt(0.975, n - 1)^2 * var(y - r * x) / n
    ratio <- mean(y) / mean(x)
    ends <- sapply(c(-1, 1), function(way) {
      far <- ratio
      while (apart(far) < 0 && abs(far) < 1e4) far <- far + way * 0.5
      if (apart(far) < 0) NA else uniroot(apart, sort(c(ratio, far)), tol = 1e-14)$root
    })
    list(estimate = ratio, lower = ends[1], upper = ends[2])
  }
  list(span = span, n = n, years = years, parts = lapply(seq_len(ncol(rows)), part), skeletalShare = share)
}
spans <- c("treatment", "since", "whole")
split_all <- function(parts_of, skeletal) lapply(spans, function(span) split_span(parts_of, span, skeletal))

write_fixture("gave-way", character(0), list(
  children = unname(lapply(by_child, function(one) list(code = one$code[1], treated = one$group[1] == "treated", kinds = I(one$kind), ages = I(one$age),
    points = lapply(setNames(POINTS, POINTS), function(point) I(one[[point]])), length = I(one$length)))),
  year = year, overjet = split_all(overjet, TRUE), molar = split_all(molar, TRUE), chin = split_all(chin, FALSE), turn = split_all(turn, FALSE)
))
