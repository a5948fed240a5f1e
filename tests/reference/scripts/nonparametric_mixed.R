# Makes incidence-three-modes.json, incidence-late-entry.json and turnbull-mixed.json.
# Run: Rscript nonparametric_mixed.R > nonparametric_mixed.txt   (in this folder)
# Needs: R with survival and etm, and no other package.
suppressMessages({ library(survival); library(etm) })
cat(R.version.string, "\n")
for (p in c("survival", "etm")) cat(p, as.character(packageVersion(p)), "\n")
options(digits = 15)

num <- function(x) ifelse(is.na(x), "null", formatC(x, digits = 15, format = "g", width = 1))
lst <- function(x) paste0("[", paste(num(x), collapse = ", "), "]")
expect <- function(name, value, tol, origin, abs = NULL, note = NULL)
  paste0('  {"quantity": "', name, '", "value": ', value, ', "rel_tol": ', tol,
         if (!is.null(abs)) paste0(', "abs_tol": ', abs),
         ', "origin": "', origin, '"',
         if (!is.null(note)) paste0(', "note": "', note, '"'), "}")
write_case <- function(id, title, source, lives, expects)
  writeLines(c("{", paste0(' "id": "', id, '",'), ' "topic": "nonparametric",',
    paste0(' "title": "', title, '",'), paste0(' "source": "', source, '",'), ' "unit": "hours",',
    ' "data": {', '  "lives": [', paste(lives, collapse = ",\n"), "  ]", " },",
    ' "expect": [', paste(expects, collapse = ",\n"), " ]", "}"),
    file.path("..", paste0(id, ".json")))

# --- Three failure modes, ties between modes, watched from new -------------------------------
set.seed(20251)
n <- 60
t1 <- rweibull(n, 1.0, 2600); t2 <- rweibull(n, 2.5, 1900); t3 <- rweibull(n, 4.0, 2300)
cens <- runif(n, 300, 2600)
t <- pmin(t1, t2, t3, cens)
mode <- ifelse(t == cens, 0, ifelse(t == t1, 1, ifelse(t == t2, 2, 3)))
t <- pmax(25, round(t / 25) * 25)              # a coarse grid makes ties
names <- c("seal", "ring", "spring")
row <- function(entry, t, mode) sprintf('   {"entry": %s, "lo": %g, "hi": %s, "outcome": "%s", "count": 1%s}',
  ifelse(entry > 0, format(entry), "null"), t, ifelse(mode > 0, format(t), "null"),
  ifelse(mode > 0, "failure", "suspension"),
  ifelse(mode > 0, paste0(', "mode": "', names[pmax(mode, 1)], '"'), ""))

fit <- survfit(Surv(t, factor(mode, 0:3, c("end", names))) ~ 1, conf.int = 0.9, conf.type = "log-log")
print(summary(fit))
one <- function(fit, m, tol_se, origin) {
  k <- which(fit$states == names[m]); own <- fit$n.event[, k] > 0
  c(expect(paste0("times[", names[m], "]"), lst(fit$time[own]), 0, "data"),
    expect(paste0("at_risk[", names[m], "]"), lst(fit$n.risk[own, 1]), 0, origin),
    expect(paste0("events[", names[m], "]"), lst(fit$n.event[own, k]), 0, origin),
    expect(paste0("cif[", names[m], "]"), lst(fit$pstate[own, k]), 1e-9, origin),
    expect(paste0("cif_se[", names[m], "]"), lst(fit$std.err[own, k]), tol_se, origin,
      note = "infinitesimal jackknife, which without late entry is Greenwood's variance"),
    expect(paste0("cif[", names[m], "].loglog90.lower"), lst(fit$lower[own, k]), tol_se, origin,
      note = "F^exp(+/- z se/(F ln F))"),
    expect(paste0("cif[", names[m], "].loglog90.upper"), lst(fit$upper[own, k]), tol_se, origin))
}
org <- paste0("computed: R survival ", packageVersion("survival"), " survfit (multi-state)")
# The standard error by etm, an implementation of the matrix Greenwood formula.
frame <- data.frame(id = 1:n, from = 0, to = ifelse(mode == 0, "cens", as.character(mode)),
                    entry = 0, exit = t)
tra <- matrix(FALSE, 4, 4); tra[1, 2:4] <- TRUE
e <- etm(frame, as.character(0:3), tra, "cens", 0)
for (m in 1:3) {
  k <- which(fit$states == names[m]); own <- fit$n.event[, k] > 0
  se <- sqrt(trcov(e, paste("0", m)))[match(fit$time[own], e$time)]
  cat("largest difference of standard errors, survival and etm,", names[m], ":",
      max(abs(se - fit$std.err[own, k])), "\n")
}
write_case("incidence-three-modes", "Cumulative incidence of three modes with ties",
  "constructed: tests/reference/scripts/nonparametric_mixed.R, seed 20251",
  row(rep(0, n), t, mode), unlist(lapply(1:3, function(m) one(fit, m, 1e-8, org))))

# --- The same with late entry ----------------------------------------------------------------
set.seed(20252)
n <- 80
t1 <- rweibull(n, 1.2, 2600); t2 <- rweibull(n, 3.0, 2000)
entry <- ifelse(runif(n) < 0.5, 0, round(runif(n, 50, 1200) / 10) * 10)
cens <- entry + runif(n, 300, 1800)
t <- pmin(t1, t2, cens)
mode <- ifelse(t == cens, 0, ifelse(t == t1, 1, 2))
t <- round(t / 10) * 10
keep <- t > entry; t <- t[keep]; mode <- mode[keep]; entry <- entry[keep]
n <- length(t)
frame <- data.frame(id = 1:n, from = 0, to = ifelse(mode == 0, "cens", as.character(mode)),
                    entry = entry, exit = t)
tra <- matrix(FALSE, 3, 3); tra[1, 2:3] <- TRUE
e <- etm(frame, as.character(0:2), tra, "cens", 0)
print(e$n.risk[, 1])
fit <- survfit(Surv(entry, t, factor(mode, 0:2, c("end", names[1:2]))) ~ 1, id = 1:n)
org <- paste0("computed: R etm ", packageVersion("etm"), "; second computation R survival ",
              packageVersion("survival"), " survfit (estimate)")
orge <- paste0("computed: R etm ", packageVersion("etm"), " (matrix Greenwood)")
late <- unlist(lapply(1:2, function(m) {
  counts <- table(factor(t[mode == m]))
  own <- as.numeric(names(counts)); at <- match(own, e$time)
  p <- trprob(e, paste("0", m))[at]
  k <- which(fit$states == names[m])
  cat("largest difference of estimates, etm and survival,", names[m], ":",
      max(abs(p - fit$pstate[match(own, fit$time), k])), "\n")
  se <- sqrt(trcov(e, paste("0", m)))[at]
  z <- qnorm(0.95)
  risk <- sapply(own, function(u) sum(entry < u & t >= u))
  c(expect(paste0("times[", names[m], "]"), lst(own), 0, "data"),
    expect(paste0("at_risk[", names[m], "]"), lst(risk), 0, "data"),
    expect(paste0("events[", names[m], "]"), lst(as.numeric(counts)), 0, "data"),
    expect(paste0("cif[", names[m], "]"), lst(p), 1e-9, org),
    expect(paste0("cif_se[", names[m], "]"), lst(se), 1e-8, orge),
    expect(paste0("cif[", names[m], "].loglog90.lower"), lst(p^exp(-z * se / (p * log(p)))), 1e-8, orge,
      note = "F^exp(+/- z se/(F ln F)), by the script from etm's estimate and standard error"),
    expect(paste0("cif[", names[m], "].loglog90.upper"), lst(p^exp(z * se / (p * log(p)))), 1e-8, orge))
}))
write_case("incidence-late-entry", "Cumulative incidence of two modes with late entry",
  "constructed: tests/reference/scripts/nonparametric_mixed.R, seed 20252", row(entry, t, mode), late)

# --- Turnbull: exact, right, left and interval, with counts ----------------------------------
set.seed(20253)
n <- 60
life <- rweibull(n, 2, 1500)
kind <- sample(1:4, n, TRUE, c(0.3, 0.25, 0.3, 0.15))
lo <- hi <- numeric(n)
for (i in 1:n) {
  if (kind[i] == 1) lo[i] <- hi[i] <- round(life[i] / 10) * 10
  if (kind[i] == 2) { lo[i] <- round(life[i] * runif(1, 0.3, 1) / 10) * 10; hi[i] <- NA }
  if (kind[i] == 3) { grid <- sample(c(150, 250, 400), 1)
    lo[i] <- floor(life[i] / grid) * grid; hi[i] <- lo[i] + grid }
  if (kind[i] == 4) { lo[i] <- NA; hi[i] <- ceiling(life[i] / 300) * 300 + 100 }
}
lo[!is.na(lo) & lo == 0] <- NA
count <- sample(1:3, n, TRUE)
fit <- survfit(Surv(lo, hi, type = "interval2") ~ 1, weights = count)
cat("survfit's own stop after few rounds:", length(fit$time), "times\n")
# survfit stops when the estimate moves by less than 5e-4; the self-consistency equations are
# therefore iterated here to rounding, and survfit's own answer is compared.
left <- ifelse(is.na(lo), 0, lo); right <- ifelse(is.na(hi), Inf, hi)
left2 <- ifelse(left == right, left - 1e-7, left)
ends <- sort(unique(c(left2, right)))
cells <- NULL
marks <- rbind(data.frame(at = left2, open = 1), data.frame(at = right, open = 0))
marks <- marks[order(marks$at, marks$open), ]
for (i in seq_len(nrow(marks) - 1)) if (marks$open[i] == 1 && marks$open[i + 1] == 0)
  cells <- rbind(cells, c(marks$at[i], marks$at[i + 1]))
inside <- outer(1:n, 1:nrow(cells), function(i, j) left2[i] <= cells[j, 1] & cells[j, 2] <= right[i])
p <- rep(1 / nrow(cells), nrow(cells))
for (round in 1:400000) {
  share <- inside %*% p
  new <- p * as.numeric(t(inside) %*% (count / share)) / sum(count)
  done <- max(abs(new - p)) < 1e-16
  p <- new
  if (done) break
}
gain <- as.numeric(t(inside) %*% (count / (inside %*% p))) / sum(count)
cat("rounds", round, "largest gain", max(gain) - 1, "\n")
held <- p > 1e-8 & is.finite(cells[, 2])
after <- 1 - cumsum(p)[held]
got <- summary(fit, times = cells[held, 2])$surv
cat("largest difference from survfit:", max(abs(got - after)), "\n")
log_likelihood <- sum(count * log(inside %*% p))
from <- ifelse(cells[held, 2] - cells[held, 1] < 1e-6, cells[held, 2], cells[held, 1])
pairs <- paste0("[", paste0("[", num(from), ", ", num(cells[held, 2]), "]", collapse = ", "), "]")
org <- "computed: self-consistency iterated to rounding by the script"
org2 <- paste0(org, "; R survival ", packageVersion("survival"),
               " survfit agrees as far as it iterates (", signif(max(abs(got - after)), 2), ")")
rows <- sprintf('   {"entry": null, "lo": %s, "hi": %s, "outcome": "%s", "count": %d}',
  ifelse(is.na(lo), "null", lo), ifelse(is.na(hi), "null", hi),
  ifelse(is.na(lo), "left", ifelse(is.na(hi), "suspension", ifelse(lo == hi, "failure", "interval"))), count)
write_case("turnbull-mixed", "Turnbull estimate of known usages, windows, left and right ends with counts",
  "constructed: tests/reference/scripts/nonparametric_mixed.R, seed 20253", rows,
  c(expect("turnbull.intervals", pairs, 1e-9, org, note = "an exact life t appears as [t, t]"),
    expect("turnbull.mass", lst(p[held]), 1e-6, org, abs = 1e-7),
    expect("turnbull.survival_after", lst(after), 1e-6, org2, abs = 1e-7),
    expect("turnbull.loglik", num(log_likelihood), 1e-9, org)))
