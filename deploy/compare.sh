#!/bin/sh
# R and `solewright tally` side by side on the same invented files: both
# numbers, their difference, both times. Fails when a difference exceeds its
# tolerance. Writes testdata/proof/compare.md, dated. Needs R with package
# survival, which it installs on Debian where they are missing.
#   sh deploy/compare.sh              200,000 rows where size matters
#   sh deploy/compare.sh 1000000      another number of rows
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
rows=${1:-200000}
need_go
need_debian Rscript r-base-core
Rscript -e 'library(survival)' >/dev/null 2>&1 || { apt-get update -qq && apt-get install -y -qq r-cran-survival >/dev/null; } ||
	die "R lacks package survival; install it (Debian package: r-cran-survival)"
CGO_ENABLED=0 go build -trimpath -o bin/solewright ./cmd/solewright
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cat >"$scratch/compare.R" <<'R'
suppressPackageStartupMessages(library(survival))
args <- commandArgs(TRUE)
program <- normalizePath(args[1]); scratch <- args[2]; rows <- as.integer(args[3])
set.seed(1, kind = "Mersenne-Twister")
out <- character(); worst <- character()

# What R is compared on: file is a data frame, given to both as CSV; flags are
# tally's; r computes a named list of numbers from what read.csv returns; ours
# finds the same in the JSON; tolerance is relative to max(1, |R|). Without
# input tally reads no file.
compare <- function(name, file, flags, r, ours, tolerance, input = TRUE) {
  path <- file.path(scratch, "rows.csv")
  write.csv(file, path, row.names = FALSE, na = "", quote = FALSE)
  reference <- NULL
  tr <- system.time(reference <- r(read.csv(path)))[["elapsed"]]
  text <- NULL
  ts <- system.time(text <- system2(program, c("tally", flags, if (input) path), stdout = TRUE))[["elapsed"]]
  text <- paste(text, collapse = "")
  found <- ours(text)
  for (key in names(reference)) {
    a <- as.numeric(reference[[key]]); b <- as.numeric(found[[key]])
    if (length(a) == 0 || length(a) != length(b) || anyNA(b) || anyNA(a)) {
      d <- Inf
    } else {
      d <- max(abs(a - b) / pmax(1, abs(a)))
    }
    line <- sprintf("| %s | %s | %.10g | %.10g | %.1e | %.0e | %.3f | %.3f | %.1f |", name, key, a[1],
      if (length(b)) b[1] else NA, d, tolerance, tr, ts, tr / max(ts, 1e-3))
    out <<- c(out, line)
    if (d > tolerance) worst <<- c(worst, line)
  }
}
# number finds the nth number under a key, numbers the nth list, every all of them.
number <- function(text, key, nth = 1) {
  every(text, key)[nth]
}
every <- function(text, key) {
  m <- regmatches(text, gregexpr(sprintf('"%s":(-?[0-9.eE+-]+|null)', key), text))[[1]]
  suppressWarnings(as.numeric(sub(".*:", "", m)))
}
numbers <- function(text, key, nth = 1) {
  m <- regmatches(text, gregexpr(sprintf('"%s":\\[[^][]*\\]', key), text))[[1]][nth]
  as.numeric(strsplit(gsub('.*\\[|\\]', "", m), ",")[[1]])
}

n <- rows
verdict <- sample(c("keep", "replace", "watch"), n, TRUE, c(.5, .3, .2))
surface <- sample(c("road", "track", "trail"), n, TRUE)
store <- sample(sprintf("s%02d", 1:40), n, TRUE)

compare("shares: Wilson", data.frame(verdict), c("shares", "--of", "verdict"), function(d) {
  k <- table(d$verdict)
  ci <- sapply(k, function(x) prop.test(x, sum(k), correct = FALSE)$conf.int)
  list(share = k / sum(k), low = ci[1, ], high = ci[2, ])
}, function(t) list(share = every(t, "share"), low = every(t, "low"), high = every(t, "high")), 1e-10)

runner <- sample.int(max(20, n %/% 5), n, TRUE)
compare("shares: Rao and Scott (1992) in base R", data.frame(verdict, runner), c("shares", "--of", "verdict", "--cluster", "runner"), function(d) {
  y <- tapply(d$verdict == "keep", d$runner, sum); m <- tapply(d$verdict, d$runner, length)
  p <- sum(y) / sum(m); k <- length(m)
  v <- k / (k - 1) * sum((y - p * m)^2) / sum(m)^2
  list(deff = v / (p * (1 - p) / sum(m)))
}, function(t) list(deff = number(t, "deff")), 1e-9)

compare("difference: Newcombe (1998) method 10 in base R", data.frame(g = c("a", "b"), y = c(56, 48), n = c(70, 80)), c("difference", "--hits", "y", "--size", "n", "--by", "g"), function(d) {
  w <- sapply(1:2, function(i) prop.test(d$y[i], d$n[i], correct = FALSE)$conf.int); p <- d$y / d$n
  x <- p[1] - p[2]
  list(low = x - sqrt((p[1] - w[1, 1])^2 + (w[2, 2] - p[2])^2), high = x + sqrt((w[2, 1] - p[1])^2 + (p[2] - w[1, 2])^2))
}, function(t) list(low = number(t, "low", 3), high = number(t, "high", 3)), 1e-10)

compare("association: chisq.test", data.frame(surface, verdict), c("association", "--rows", "surface", "--cols", "verdict"), function(d) {
  x <- chisq.test(table(d$surface, d$verdict), correct = FALSE)
  list(chi2 = x$statistic, p = x$p.value, residual = x$stdres[1, 1])
}, function(t) list(chi2 = number(t, "chi2"), p = number(t, "p"), residual = as.numeric(sub('.*"adjusted_residuals":\\[\\[(-?[0-9.eE+-]+).*', "\\1", t))), 1e-9)

few <- 1:60
compare("association: fisher.test, 3 by 3", data.frame(surface = surface[few], verdict = verdict[few]), c("association", "--rows", "surface", "--cols", "verdict", "--exact"), function(d) {
  list(p_exact = fisher.test(table(d$surface, d$verdict), workspace = 2e7)$p.value)
}, function(t) list(p_exact = number(t, "p_exact")), 1e-9)

compare("association: fisher.test, 2 by 2", data.frame(id = 1, a = 12, b = 5, c = 7, d = 16), c("association", "--two-by-two", "a,b,c,d", "--by", "id"), function(d) {
  x <- fisher.test(matrix(c(d$a, d$c, d$b, d$d), 2))
  list(p_two = x$p.value, odds_ratio = x$estimate, odds_low = x$conf.int[1], odds_high = x$conf.int[2])
}, function(t) list(p_two = number(t, "p_two"), odds_ratio = number(t, "odds_ratio"), odds_low = number(t, "odds_low"), odds_high = number(t, "odds_high")), 1e-4)

compare("adjust: p.adjust", data.frame(p = rbeta(20000, .7, 3)), c("adjust", "--p", "p"), function(d) {
  list(bh = p.adjust(d$p, "BH"), holm = p.adjust(d$p, "holm"), bonferroni = p.adjust(d$p, "bonferroni"))
}, function(t) list(bh = numbers(t, "bh"), holm = numbers(t, "holm"), bonferroni = numbers(t, "bonferroni")), 1e-12)

grip <- sample(c("a", "b", "c"), n, TRUE)
life <- 10 * ceiling(rweibull(n, 2, c(a = 600, b = 610, c = 640)[grip]) / 10)
seen <- 10 * ceiling(runif(n, 100, 1500) / 10)
right <- data.frame(km = pmin(life, seen), worn = as.integer(life <= seen), grip, surface)
compare("life: survfit, log-log", right, c("life", "--time", "km", "--event", "worn", "--tau", "900"), function(d) {
  f <- survfit(Surv(km, worn) ~ 1, d, conf.type = "log-log"); s <- summary(f, times = 500)
  m <- summary(f, rmean = 900)$table
  list(surv500 = s$surv, se500 = s$std.err, low500 = s$lower, median = m["median"], median_low = m["0.95LCL"], rmst = m["rmean"], rmst_se = m["se(rmean)"])
}, function(t) {
  at <- regmatches(t, regexpr('\\{"time":500,[^}]*\\}', t))
  list(surv500 = number(at, "surv"), se500 = number(at, "se"), low500 = number(at, "low"), median = number(t, "median"), median_low = number(t, "median_low"), rmst = number(t, "rmst"), rmst_se = number(t, "rmst_se"))
}, 1e-9)
compare("life: survreg, right-censored Weibull", right, c("life", "--time", "km", "--event", "worn"), function(d) {
  f <- survreg(Surv(km, worn) ~ 1, d)
  list(mu = coef(f), sigma = f$scale, loglik = f$loglik[1], var_mu = vcov(f)[1, 1])
}, function(t) list(mu = number(t, "mu"), sigma = number(t, "sigma"), loglik = number(t, "loglik"), var_mu = as.numeric(sub('.*"vcov":\\[\\[([0-9.eE+-]+).*', "\\1", t))), 1e-6)
compare("life: survdiff", right, c("life", "--time", "km", "--event", "worn", "--by", "grip"), function(d) {
  s <- survdiff(Surv(km, worn) ~ grip, d); list(chi2 = s$chisq)
}, function(t) list(chi2 = as.numeric(sub('.*"logrank":\\{"chi2":([0-9.eE+-]+).*', "\\1", t))), 1e-8)
compare("life: survdiff with strata", right, c("life", "--time", "km", "--event", "worn", "--by", "grip", "--strata", "surface"), function(d) {
  s <- survdiff(Surv(km, worn) ~ grip + strata(surface), d); list(chi2 = s$chisq)
}, function(t) list(chi2 = as.numeric(sub('.*"logrank":\\{"chi2":([0-9.eE+-]+).*', "\\1", t))), 1e-8)

m <- min(n, 5000)
first <- 10 * sample.int(40, m, TRUE); again <- first + 10 * sample.int(60, m, TRUE)
lower <- ifelse(life[1:m] <= first, 0, ifelse(life[1:m] <= again, first, again))
upper <- ifelse(life[1:m] <= first, first, ifelse(life[1:m] <= again, again, NA))
compare("life: survreg, interval-censored Weibull", data.frame(lower, upper), c("life", "--lower", "lower", "--upper", "upper"), function(d) {
  f <- survreg(Surv(ifelse(d$lower == 0, NA, d$lower), d$upper, type = "interval2") ~ 1)
  list(mu = coef(f), sigma = f$scale, loglik = f$loglik[1])
}, function(t) list(mu = number(t, "mu"), sigma = number(t, "sigma"), loglik = number(t, "loglik", 2)), 1e-6)
compare("life: Turnbull (1976) by EM in base R", data.frame(lower, upper)[1:150, ], c("life", "--lower", "lower", "--upper", "upper"), function(d) {
  u <- ifelse(is.na(d$upper), Inf, d$upper); e <- sort(unique(c(d$lower, u)))
  a <- outer(d$lower, head(e, -1), "<=") & outer(u, tail(e, -1), ">="); s <- rep(1 / ncol(a), ncol(a))
  for (i in 1:4000) { p <- as.vector(a %*% s); s <- s * as.vector(crossprod(a, 1 / p)) / nrow(a) }
  list(loglik = sum(log(a %*% s)))
}, function(t) list(loglik = number(t, "loglik")), 1e-4)

look <- data.frame(km = sample.int(100000, m), worn = 0); look$worn <- as.integer(rweibull(m, 2, 50000) <= look$km)
compare("life: isoreg, one look each", look, c("life", "--time", "km", "--worn", "worn", "--current-status"), function(d) {
  d <- d[order(d$km), ]; list(failed_by = isoreg(d$worn)$yf)
}, function(t) list(failed_by = every(t, "failed_by")), 1e-9)

months <- data.frame(month = 1:60, y = rbinom(60, 400, .1), n = 400)
compare("chart: p in base R", months, c("chart", "--kind", "p", "--order", "month", "--hits", "y", "--size", "n"), function(d) {
  p <- sum(d$y) / sum(d$n); list(centre = rep(p, 60), high = p + 3 * sqrt(p * (1 - p) / d$n), low = pmax(0, p - 3 * sqrt(p * (1 - p) / d$n)))
}, function(t) list(centre = every(t, "centre"), high = every(t, "high"), low = every(t, "low")), 1e-12)
series <- data.frame(month = 1:200, x = rnorm(200, 50, 2))
compare("chart: ewma in base R", series, c("chart", "--kind", "ewma", "--order", "month", "--value", "x", "--lambda", "0.3", "--target", "50", "--sd", "2"), function(d) {
  z <- Reduce(function(z, x) .3 * x + .7 * z, d$x, 50, accumulate = TRUE)[-1]
  list(value = z, high = 50 + 3 * 2 * sqrt(.3 / 1.7 * (1 - .7^(2 * 1:200))))
}, function(t) list(value = every(t, "value"), high = every(t, "high")), 1e-11)
compare("chart: cusum in base R", series, c("chart", "--kind", "cusum", "--order", "month", "--value", "x", "--target", "50", "--sd", "2"), function(d) {
  z <- (d$x - 50) / 2
  list(upper = Reduce(function(s, z) max(0, s + z - .5), z, 0, accumulate = TRUE)[-1], lower = Reduce(function(s, z) max(0, s - z - .5), z, 0, accumulate = TRUE)[-1])
}, function(t) list(upper = numbers(t, "upper"), lower = numbers(t, "lower")), 1e-11)
compare("tail: Poisson-binomial by convolution in base R", data.frame(p = runif(2000, 0, .05)), c("tail", "--expected", "p", "--hits", "60"), function(d) {
  f <- Reduce(function(f, p) c(f, 0) * (1 - p) + c(0, f) * p, d$p, 1); list(p_at_least = sum(f[61:2001]), p_at_most = sum(f[1:61]))
}, function(t) list(p_at_least = number(t, "p_at_least"), p_at_most = number(t, "p_at_most")), 1e-11)
units <- data.frame(unit = sprintf("u%02d", 1:50), y = rbinom(50, 200, .12), n = 200)
compare("funnel: Spiegelhalter (2005) in base R", units, c("funnel", "--hits", "y", "--size", "n", "--by", "unit"), function(d) {
  p <- sum(d$y) / sum(d$n); z <- (d$y / d$n - p) / sqrt(p * (1 - p) / d$n); w <- d$n / (p * (1 - p))
  q <- quantile(z, c(.1, .9))
  list(z = z, phi = mean(z^2), phi_winsorised = mean(pmin(pmax(z, q[1]), q[2])^2), tau2 = max(0, (sum(z^2) - 49) / (sum(w) - sum(w^2) / sum(w))))
}, function(t) list(z = every(t, "z"), phi = number(t, "phi"), phi_winsorised = number(t, "phi_winsorised"), tau2 = number(t, "tau2")), 1e-10)
compare("trend: prop.trend.test", data.frame(s = 1:6, y = c(12, 15, 14, 22, 25, 24), n = 100), c("trend", "--hits", "y", "--size", "n", "--score", "s"), function(d) {
  x <- prop.trend.test(d$y, d$n, d$s); list(chi2 = x$statistic, p = x$p.value)
}, function(t) list(chi2 = number(t, "chi2"), p = number(t, "p")), 1e-10)
compare("trend: cor.test(kendall) and Sen in base R", data.frame(month = 1:400, x = round(rnorm(400) + (1:400) / 400, 1)), c("trend", "--value", "x", "--order", "month"), function(d) {
  k <- cor.test(d$month, d$x, method = "kendall", exact = FALSE, continuity = TRUE)
  s <- outer(d$x, d$x, "-") / outer(d$month, d$month, "-")
  list(z = k$statistic, tau_b = k$estimate, p = k$p.value, slope = median(s[lower.tri(s)]))
}, function(t) list(z = number(t, "z"), tau_b = number(t, "tau_b"), p = number(t, "p"), slope = number(t, "slope")), 1e-9)

twice <- ifelse(runif(n) < .8, verdict, sample(verdict))
pairs <- data.frame(first = verdict, second = twice)
compare("match: Stuart (1955), Maxwell (1970) in base R", pairs, c("match", "--first", "first", "--second", "second"), function(d) {
  t <- table(d$first, d$second); x <- (rowSums(t) - colSums(t))[-1]
  v <- (diag(rowSums(t) + colSums(t)) - t - t(t))[-1, -1]; list(chi2 = sum(x * solve(v, x)))
}, function(t) list(chi2 = number(t, "chi2")), 1e-8)
compare("match: mcnemar.test, binom.test", data.frame(first = as.integer(verdict == "keep"), second = as.integer(twice == "keep"))[1:3000, ], c("match", "--first", "first", "--second", "second"), function(d) {
  t <- table(d$first, d$second); x <- mcnemar.test(t, correct = FALSE)
  list(chi2 = x$statistic, p = x$p.value, p_exact = binom.test(t[2, 1], t[2, 1] + t[1, 2])$p.value, b = t[2, 1])
}, function(t) list(chi2 = number(t, "chi2"), p = number(t, "p"), p_exact = number(t, "p_exact"), b = number(t, "b")), 1e-9)
compare("agreement: Cohen (1968) in base R", pairs, c("agreement", "--first", "first", "--second", "second"), function(d) {
  t <- prop.table(table(d$first, d$second)); e <- outer(rowSums(t), colSums(t)); w <- abs(outer(1:3, 1:3, "-"))
  k <- function(w) 1 - sum(w * t) / sum(w * e); list(kappa = c(k(w > 0), k(w), k(w^2)))
}, function(t) list(kappa = every(t, "kappa")), 1e-10)
grades <- expand.grid(item = 1:300, rater = 1:5)
grades$grade <- pmin(5, pmax(1, round(rnorm(300)[grades$item] + 3 + rnorm(1500, 0, .6) + c(0, 0, .2, .4, 0)[grades$rater])))
compare("agreement: Fleiss (1971), Krippendorff (2011) in base R", grades, c("agreement", "--item", "item", "--rater", "rater", "--grade", "grade"), function(d) {
  t <- table(d$item, d$grade); k <- 5; p <- colSums(t) / sum(t); o <- mean((rowSums(t^2) - k) / (k * (k - 1)))
  co <- crossprod(t) - diag(colSums(t)); co <- co / (k - 1); nc <- rowSums(co); s <- sum(nc)
  list(fleiss = (o - sum(p^2)) / (1 - sum(p^2)), alpha = 1 - (s - 1) * (s - sum(diag(co))) / (s^2 - sum(nc^2)))
}, function(t) list(fleiss = number(t, "kappa"), alpha = number(t, "alpha")), 1e-10)
compare("agreement: intraclass by aov", grades, c("agreement", "--item", "item", "--rater", "rater", "--grade", "grade", "--scale", "interval"), function(d) {
  m <- summary(aov(grade ~ factor(item) + factor(rater), d))[[1]][["Mean Sq"]]; k <- 5
  list(icc21 = (m[1] - m[3]) / (m[1] + (k - 1) * m[3] + k * (m[2] - m[3]) / 300), icc31 = (m[1] - m[3]) / (m[1] + (k - 1) * m[3]))
}, function(t) list(icc21 = number(t, "icc", 2), icc31 = number(t, "icc", 3)), 1e-9)
compare("limits: t.test", data.frame(a = round(rnorm(n, 5, 1), 1), b = round(rnorm(n, 5.1, 1), 1)), c("limits", "--first", "a", "--second", "b"), function(d) {
  x <- d$a - d$b; t <- t.test(x); list(bias = mean(x), sd = sd(x), bias_low = t$conf.int[1], high = mean(x) + qnorm(.975) * sd(x))
}, function(t) list(bias = number(t, "bias"), sd = number(t, "sd"), bias_low = number(t, "bias_low"), high = number(t, "high")), 1e-9)
compare("heaping: chisq.test of last digits, Whipple in base R", data.frame(km = ifelse(runif(n) < .2, 10 * sample.int(90, n, TRUE), sample.int(900, n, TRUE))), c("heaping", "--value", "km", "--range", "100:899"), function(d) {
  x <- d$km[d$km >= 100 & d$km <= 899]
  list(chi2 = chisq.test(table(factor(d$km %% 10, 0:9)))$statistic, whipple_05 = 500 * mean(x %% 5 == 0))
}, function(t) list(chi2 = number(t, "chi2"), whipple_05 = number(t, "whipple_05")), 1e-9)

compare("life: score test, Sun (1996), by EM in base R", data.frame(lower, upper, grip = grip[1:m])[1:150, ], c("life", "--lower", "lower", "--upper", "upper", "--by", "grip"), function(d) {
  u <- ifelse(is.na(d$upper), Inf, d$upper); e <- sort(unique(c(d$lower, u)))
  a <- outer(d$lower, head(e, -1), "<=") & outer(u, tail(e, -1), ">="); s <- rep(1 / ncol(a), ncol(a))
  for (i in 1:20000) { p <- as.vector(a %*% s); s <- s * as.vector(crossprod(a, 1 / p)) / nrow(a) }
  surv <- c(1, rev(cumsum(rev(s)))[-1], 0); hazard <- c(0, cumsum(ifelse(surv[-length(surv)] > 1e-12, s / surv[-length(surv)], 0)))
  w <- -surv * hazard; l <- match(d$lower, e); r <- match(u, e)
  score <- (w[l] - w[r]) / (surv[l] - surv[r]); g <- tapply(score, d$grip, sum); k <- table(d$grip)
  chi2 <- sum((g - k * mean(score))^2 / k) / var(score)
  list(chi2 = chi2, p = pchisq(chi2, length(k) - 1, lower.tail = FALSE))
}, function(t) { t <- sub('.*"score":', "", t); list(chi2 = number(t, "chi2"), p = number(t, "p")) }, 1e-5)
mass <- round(rnorm(n, 70, 12))
compare("regress: survreg, right-censored", cbind(right, mass), c("regress", "--time", "km", "--event", "worn", "--on", "grip,mass"), function(d) {
  f <- survreg(Surv(km, worn) ~ grip + mass, d); se <- sqrt(diag(vcov(f)))
  list(coef = coef(f), se = se[1:4], log_scale = log(f$scale), loglik = f$loglik[2], lrt = 2 * diff(f$loglik))
}, function(t) list(coef = every(t, "coef"), se = every(t, "se"), log_scale = number(t, "log_scale"), loglik = number(t, "loglik"), lrt = number(t, "lrt")), 1e-6)
compare("regress: survreg, interval-censored", data.frame(lower, upper, grip = grip[1:m]), c("regress", "--lower", "lower", "--upper", "upper", "--on", "grip"), function(d) {
  f <- survreg(Surv(ifelse(lower == 0, NA, lower), upper, type = "interval2") ~ grip, d)
  list(coef = coef(f), se = sqrt(diag(vcov(f)))[1:3], loglik = f$loglik[2])
}, function(t) list(coef = every(t, "coef"), se = every(t, "se"), loglik = number(t, "loglik")), 1e-6)

compare("chart: u in base R", data.frame(month = 1:60, y = rpois(60, 9), n = sample(5:20, 60, TRUE)), c("chart", "--kind", "u", "--order", "month", "--hits", "y", "--size", "n"), function(d) {
  u <- sum(d$y) / sum(d$n); list(value = d$y / d$n, high = u + 3 * sqrt(u / d$n), low = pmax(0, u - 3 * sqrt(u / d$n)))
}, function(t) list(value = every(t, "value"), high = every(t, "high"), low = every(t, "low")), 1e-12)
compare("chart: c in base R", data.frame(month = 1:60, y = rpois(60, 16)), c("chart", "--kind", "c", "--order", "month", "--value", "y"), function(d) {
  c <- mean(d$y); list(centre = rep(c, 60), high = rep(c + 3 * sqrt(c), 60), low = rep(max(0, c - 3 * sqrt(c)), 60))
}, function(t) list(centre = every(t, "centre"), high = every(t, "high"), low = every(t, "low")), 1e-12)
compare("chart: ra-cusum, Steiner (2000), in base R", data.frame(case = 1:3000, p = runif(3000, .02, .2)) |> transform(y = rbinom(3000, 1, p)), c("chart", "--kind", "ra-cusum", "--order", "case", "--event", "y", "--expected", "p", "--odds", "2", "--h", "3"), function(d) {
  w <- d$y * log(2) - log(1 + d$p); x <- numeric(3000); s <- 0
  for (i in 1:3000) { s <- max(0, s + w[i]); x[i] <- s; if (s >= 3) s <- 0 }
  list(value = x, first_signal = which(x >= 3)[1])
}, function(t) list(value = every(t, "value"), first_signal = number(t, "first_signal")), 1e-10)
none <- data.frame(nothing = 1)
compare("run-length: normal, integral equation in base R", none, c("run-length", "--kind", "normal", "--k", "0.5", "--h", "4", "--shift", "0.5"), function(d) {
  # Gauss and Legendre's nodes by the eigenvalues of Golub & Welsch (1969)
  i <- 1:79; b <- i / sqrt(4 * i^2 - 1); j <- matrix(0, 80, 80); j[cbind(i, i + 1)] <- b; j[cbind(i + 1, i)] <- b
  e <- eigen(j, symmetric = TRUE); x <- 2 * (e$values + 1); w <- 4 * e$vectors[1, ]^2
  one <- function(shift) {
    q <- outer(x, x, function(a, b) dnorm(b - a + .5 - shift)) * rep(w, each = 80)
    l <- solve(diag(81) - rbind(c(pnorm(.5 - shift), w * dnorm(x + .5 - shift)), cbind(pnorm(.5 - shift - x), q)), rep(1, 81)); l[1]
  }
  up <- one(.5); down <- one(-.5); list(arl_one = up, arl_two = 1 / (1 / up + 1 / down))
}, function(t) list(arl_one = number(t, "arl_one"), arl_two = number(t, "arl_two")), 1e-8, input = FALSE)
compare("run-length: bernoulli, linear solve in base R", none, c("run-length", "--kind", "bernoulli", "--p0", "0.05", "--p", "0.1", "--m", "14", "--h", "4"), function(d) {
  q <- matrix(0, 56, 56) # states 0 to 55 fourteenths; a failure adds 13, a sound pair takes 1
  for (s in 0:55) { q[s + 1, max(0, s - 1) + 1] <- q[s + 1, max(0, s - 1) + 1] + .9; if (s + 13 < 56) q[s + 1, s + 14] <- q[s + 1, s + 14] + .1 }
  list(arl_one = solve(diag(56) - q, rep(1, 56))[1])
}, function(t) list(arl_one = number(t, "arl_one")), 1e-9, input = FALSE)
compare("run-length: ra, chain of 1,600 states in base R", data.frame(p = c(rep(.02, 5), rep(.05, 3), rep(.15, 2))), c("run-length", "--kind", "ra", "--expected", "p", "--odds", "2", "--h", "2"), function(d) {
  k <- 1600; step <- 2 / k; q <- matrix(0, k, k)
  for (p in d$p) for (y in 0:1) {
    to <- ((0:(k - 1)) * step + y * log(2) - log(1 + p)) / step; to <- pmax(to, 0); at <- floor(to); part <- to - at; pr <- (if (y) p else 1 - p) / nrow(d)
    low <- at < k; q[cbind(which(low), at[low] + 1)] <- q[cbind(which(low), at[low] + 1)] + pr * (1 - part[low])
    up <- at + 1 < k; q[cbind(which(up), at[up] + 2)] <- q[cbind(which(up), at[up] + 2)] + pr * part[up]
  }
  list(arl_one = solve(diag(k) - q, rep(1, k))[1])
}, function(t) list(arl_one = number(t, "arl_one")), 5e-3)
compare("pool: beta-binomial by optim", data.frame(unit = sprintf("u%02d", 1:60), y = rbinom(60, 40, rbeta(60, 3, 12)), n = 40), c("pool", "--hits", "y", "--size", "n", "--by", "unit"), function(d) {
  f <- function(x) { a <- exp(x[1]); b <- exp(x[2]); -sum(lchoose(d$n, d$y) + lbeta(d$y + a, d$n - d$y + b) - lbeta(a, b)) }
  o <- optim(c(1, 2), f, method = "BFGS", control = list(reltol = 1e-15, maxit = 1000)); a <- exp(o$par[1]); b <- exp(o$par[2])
  list(loglik = -o$value, pooled = (d$y + a) / (d$n + a + b), low = qbeta(.025, d$y + a, d$n - d$y + b))
}, function(t) list(loglik = number(t, "loglik"), pooled = every(t, "pooled"), low = every(t, "low")), 1e-5)
read <- data.frame(u = c("x", "y"), y = c(259, 51), n = 509, a = c(84, 23), b = c(127, 41), c = c(96, 187), d = c(109, 195))
compare("misread: Rogan & Gladen (1978), Lang & Reiczigel (2014) in base R", read, c("misread", "--hits", "y", "--size", "n", "--se-hits", "a", "--se-size", "b", "--sp-hits", "c", "--sp-size", "d", "--by", "u"), function(d) {
  z <- qnorm(.975); p <- d$y / d$n; raw <- (p + d$c / d$d - 1) / (d$a / d$b + d$c / d$d - 1)
  se <- (d$a + 1) / (d$b + 2); sp <- (d$c + 1) / (d$d + 2); q <- (d$y + z^2 / 2) / (d$n + z^2); t <- (q + sp - 1) / (se + sp - 1)
  v1 <- se * (1 - se) / (d$b + 2); v0 <- sp * (1 - sp) / (d$d + 2); shift <- 2 * z^2 * (t * v1 - (1 - t) * v0)
  half <- z * sqrt(q * (1 - q) / (d$n + z^2) + t^2 * v1 + (1 - t)^2 * v0) / (se + sp - 1)
  list(raw = raw, lr_low = t + shift - half, lr_high = t + shift + half)
}, function(t) list(raw = every(t, "raw"), lr_low = every(t, "lr_low"), lr_high = every(t, "lr_high")), 1e-10)
state <- sample(1:3, 300, TRUE, c(.5, .3, .2))
seen <- data.frame(item = rep(1:300, 4), rater = rep(1:4, each = 300)); seen$grade <- ifelse(runif(1200) < .8, state[seen$item], sample(1:3, 1200, TRUE))
compare("misread: Dawid & Skene (1979) by EM in base R", seen, c("misread", "--item", "item", "--rater", "rater", "--grade", "grade"), function(d) {
  n <- table(d$item, d$rater, factor(d$grade, 1:3)); post <- apply(n, c(1, 3), sum); post <- post / rowSums(post)
  for (i in 1:3000) {
    prior <- colMeans(post); l <- matrix(log(prior), nrow(post), 3, byrow = TRUE)
    for (k in 1:4) { e <- crossprod(post, n[, k, ]); e <- e / rowSums(e); l <- l + n[, k, ] %*% t(ifelse(e > 0, log(e), -745)) }
    top <- apply(l, 1, max); post <- exp(l - top); loglik <- sum(top + log(rowSums(post))); post <- post / rowSums(post)
  }
  list(prevalence = prior, loglik = loglik)
}, function(t) list(prevalence = numbers(t, "prevalence"), loglik = number(t, "loglik")), 1e-6)
compare("near: Gower (1971) in base R", data.frame(item = 1:500, heel = sample(c(0:4, NA), 500, TRUE), tilt = round(rnorm(500), 1), side = sample(c("in", "out"), 500, TRUE)), c("near", "--item", "item", "--to", "7", "--columns", "heel,tilt,side"), function(d) {
  r <- function(x) abs(x - x[7]) / diff(range(x, na.rm = TRUE)); w <- 2 + !is.na(d$heel) * !is.na(d$heel[7])
  list(distance = sort(((ifelse(is.na(r(d$heel)), 0, r(d$heel)) + r(d$tilt) + (d$side != d$side[7])) / w)[-7]))
}, function(t) list(distance = every(t, "distance")), 1e-12)
compare("symmetry: Robinson et al. (1987) in base R", data.frame(l = sample(1:900, 5000, TRUE), r = sample(1:900, 5000, TRUE)), c("symmetry", "--left", "l", "--right", "r"), function(d) {
  list(si = 200 * (d$r - d$l) / (d$r + d$l))
}, function(t) list(si = every(t, "si")), 1e-12)

cat("# R and solewright tally side by side\n\n")
cat(sprintf("- date: %s\n- command: `sh deploy/compare.sh %d`\n", format(Sys.time(), "%Y-%m-%d %H:%M UTC", tz = "UTC"), rows))
cat(sprintf("- %s, survival %s; %d rows where size matters, the same seeded file for both\n", R.version.string, packageVersion("survival"), rows))
cat("- times: R from read.csv to the numbers, without its start; solewright the whole process\n")
cat("- difference: the largest over the numbers compared, relative where they are above 1; the first of them stands in the table\n")
cat(sprintf("- beyond tolerance: %d of %d\n\n", length(worst), length(out)))
cat("| statistic | number | R | solewright | difference | tolerance | s R | s solewright | times faster |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n")
cat(out, sep = "\n"); cat("\n")
if (length(worst)) { message("compare: beyond tolerance:\n", paste(worst, collapse = "\n")); quit(status = 1) }
R
status=0
Rscript "$scratch/compare.R" bin/solewright "$scratch" "$rows" >"$scratch/compare.md" || status=$?
cat "$scratch/compare.md"
[ "$status" -eq 0 ] || exit "$status"
mkdir -p testdata/proof
cp "$scratch/compare.md" testdata/proof/compare.md
