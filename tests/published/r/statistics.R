# Second opinions from R for the statistics of outcomes. Run in this folder: Rscript statistics.R
# Writes statistics.csv (key, value, computed_by). Needs psych, coin, boot, effectsize.
suppressWarnings(suppressMessages({library(psych); library(coin); library(boot); library(effectsize)}))
version <- function(package) paste(package, as.character(packageVersion(package)))
base <- paste("R", paste(R.version$major, R.version$minor, sep = "."))
rows <- list()
put <- function(key, value, by) rows[[length(rows) + 1]] <<- data.frame(
  key = key, value = formatC(as.numeric(value), digits = 15, format = "g", flag = "#"), computed_by = paste0(base, ", ", by))
data <- function(name) read.csv(file.path("..", "data", name))

# Intraclass correlations: psych::ICC(lmer = FALSE)
icc <- function(name, x) {
  found <- ICC(as.matrix(x), lmer = FALSE)$results
  fields <- c(ICC1 = "icc_1_1", ICC2 = "icc_a_1", ICC3 = "icc_c_1", ICC1k = "icc_1_k", ICC2k = "icc_a_k", ICC3k = "icc_c_k")
  for (i in seq_len(nrow(found))) {
    field <- fields[[as.character(found$type[i])]]
    by <- paste(version("psych"), "ICC(lmer = FALSE)")
    put(paste(name, field, "value", sep = "."), found$ICC[i], by)
    put(paste(name, field, "low", sep = "."), found$"lower bound"[i], by)
    put(paste(name, field, "high", sep = "."), found$"upper bound"[i], by)
  }
}
pefr <- data("bland_altman_1986_pefr.csv")
sbp <- data("bland_altman_1999_sbp.csv")
icc("pefr_wright", pefr[, c("wright1", "wright2")])
icc("pefr_mini", pefr[, c("mini1", "mini2")])
icc("sbp_j", sbp[, c("J1", "J2", "J3")])
icc("sbp_s", sbp[, c("S1", "S2", "S3")])
icc("sbp_first", sbp[, c("J1", "R1", "S1")])

# Agreement standard error by variance components of a two-way aov, with Satterthwaite df
agreement <- function(name, x) {
  n <- nrow(x); k <- ncol(x)
  long <- data.frame(y = unlist(x), person = factor(rep(seq_len(n), k)), occasion = factor(rep(seq_len(k), each = n)))
  ms <- summary(aov(y ~ person + occasion, long))[[1]]$"Mean Sq"
  o <- ms[2]; e <- ms[3]
  variance <- e + max(0, (o - e) / n)
  df <- if (o <= e) (n - 1) * (k - 1) else (o / n + e * (n - 1) / n)^2 / ((o / n)^2 / (k - 1) + (e * (n - 1) / n)^2 / ((n - 1) * (k - 1)))
  put(paste0(name, ".standard_error"), sqrt(variance), "stats aov")
  put(paste0(name, ".df"), df, "stats aov")
  put(paste0(name, ".low"), sqrt(variance * df / qchisq(0.975, df)), "stats qchisq")
  put(paste0(name, ".high"), sqrt(variance * df / qchisq(0.025, df)), "stats qchisq")
}
agreement("sbp_first_agreement", sbp[, c("J1", "R1", "S1")])
agreement("sbp_j_agreement", sbp[, c("J1", "J2", "J3")])

# Change of the anorexia groups
anorexia <- data("mass_anorexia.csv")
for (group in c("CBT", "Cont", "FT")) {
  one <- anorexia[anorexia$Treat == group, ]
  found <- t.test(one$Postwt, one$Prewt, paired = TRUE)
  name <- paste0("anorexia_", group)
  put(paste0(name, ".mean"), found$estimate, "stats t.test(paired = TRUE)")
  put(paste0(name, ".low"), found$conf.int[1], "stats t.test(paired = TRUE)")
  put(paste0(name, ".high"), found$conf.int[2], "stats t.test(paired = TRUE)")
  change <- one$Postwt - one$Prewt
  d <- cohens_d(change)
  by <- paste(version("effectsize"), "cohens_d(changes)")
  put(paste0(name, ".d_z"), d$Cohens_d, by); put(paste0(name, ".d_z_low"), d$CI_low, by); put(paste0(name, ".d_z_high"), d$CI_high, by)
  put(paste0(name, ".g"), hedges_g(change)$Hedges_g, paste(version("effectsize"), "hedges_g(changes)"))
  # Rounded first: the file has one decimal, and floating-point dust would break ties.
  z <- coin::wilcoxsign_test(round(change, 6) ~ rep(0, length(change)), distribution = "exact", zero.method = "Wilcoxon")
  put(paste0(name, ".signed_rank_p"), pvalue(z), paste(version("coin"), "wilcoxsign_test(exact, Wilcoxon)"))
  r <- cor.test(one$Prewt, one$Postwt)
  put(paste0(name, ".r"), r$estimate, "stats cor.test"); put(paste0(name, ".r_low"), r$conf.int[1], "stats cor.test")
  put(paste0(name, ".r_high"), r$conf.int[2], "stats cor.test")
}
set.seed(1)
change <- with(anorexia[anorexia$Treat == "CBT", ], Postwt - Prewt)
bca <- boot.ci(boot(change, function(x, i) mean(x[i]), R = 100000), type = "bca")$bca
put("anorexia_CBT.bca_low", bca[4], paste(version("boot"), "boot.ci(type = bca), R = 100000"))
put("anorexia_CBT.bca_high", bca[5], paste(version("boot"), "boot.ci(type = bca), R = 100000"))

# Signs flipped in full
sums <- function(d) as.matrix(expand.grid(rep(list(c(-1, 1)), length(d)))) %*% d
sleep_file <- data("sleep_1905.csv")
d <- with(sleep, extra[group == 2] - extra[group == 1])
stopifnot(isTRUE(all.equal(d, sleep_file$g2 - sleep_file$g1)))
put("sleep.sign_flip_p", mean(abs(sums(d)) >= abs(sum(d)) - 1e-9), "base, all 1024 sign assignments")
for (rule in c("Wilcoxon", "Pratt")) {
  z <- coin::wilcoxsign_test(sleep_file$g2 ~ sleep_file$g1, distribution = "exact", zero.method = rule)
  put(paste0("sleep.signed_rank_", tolower(rule), "_p"), pvalue(z), paste(version("coin"), "wilcoxsign_test(exact)"))
}
hw <- c(.952, -.147, 1.022, .43, .62, .59, .49, -.08, .01)
found <- wilcox.test(hw, conf.int = TRUE)
put("hollander_wolfe.estimate", found$estimate, "stats wilcox.test"); put("hollander_wolfe.low", found$conf.int[1], "stats wilcox.test")
put("hollander_wolfe.high", found$conf.int[2], "stats wilcox.test")

# Dose and change
dose <- data("invented_dose.csv")
fit <- lm(change_cm ~ dose_minutes + before_cm, dose)
put("dose.slope", coef(fit)[[2]] * 600, "stats lm")
put("dose.low", confint(fit)[2, 1] * 600, "stats confint.lm"); put("dose.high", confint(fit)[2, 2] * 600, "stats confint.lm")
put("dose.raw_slope", coef(lm(change_cm ~ dose_minutes, dose))[[2]] * 600, "stats lm")
t <- summary(fit)$coefficients[2, 3]
put("dose.partial_correlation", t / sqrt(t^2 + fit$df.residual), "stats lm")
left <- sapply(seq_len(nrow(dose)), function(i) coef(lm(change_cm ~ dose_minutes + before_cm, dose[-i, ]))[[2]]) * 600
put("dose.leave_one_out_low", min(left), "stats lm"); put("dose.leave_one_out_high", max(left), "stats lm")
freedman_lane <- function(y, x, z, permutations) {
  full <- cbind(1, x, z); inverse <- solve(crossprod(full))[2, 2]; df <- length(y) - 3
  statistic <- function(v) { f <- .lm.fit(full, v); abs(f$coefficients[2]) / sqrt(sum(f$residuals^2) / df * inverse) }
  reduced <- lm(y ~ z)
  observed <- statistic(y) - 1e-9
  sum(apply(permutations, 1, function(i) statistic(fitted(reduced) + residuals(reduced)[i])) >= observed)
}
set.seed(2)
random <- t(replicate(99999, sample(nrow(dose))))
p <- with(dose, (freedman_lane(change_cm, dose_minutes, before_cm, random) + 1) / 100000)
put("dose.p", p, "stats lm, 99999 Freedman-Lane permutations")
orders <- function(n) if (n == 1) matrix(1) else { x <- orders(n - 1); do.call(rbind, lapply(seq_len(n), function(i) cbind(i, x + (x >= i)))) }
few <- dose[1:6, ]
put("dose_six.p", with(few, freedman_lane(change_cm, dose_minutes, before_cm, orders(6))) / 720, "stats lm, all 720 Freedman-Lane permutations")
ranks <- as.data.frame(lapply(dose, rank))
rank_r <- function(change, before) { f <- summary(lm(ranks[[change]] ~ ranks$dose_minutes + ranks[[before]])); t <- f$coefficients[2, 3]; t / sqrt(t^2 + f$df[2]) }
put("dose.rank", rank_r("change_cm", "before_cm"), "stats lm on ranks"); put("dose.rank_grade", rank_r("grade_change", "grade_before"), "stats lm on ranks")

# Adjusted p of Benjamini & Hochberg 1995
p <- c(.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1)
for (i in seq_along(p)) { put(paste0("holm.", i), p.adjust(p, "holm")[i], "stats p.adjust"); put(paste0("bh.", i), p.adjust(p, "BH")[i], "stats p.adjust") }

# Noncentral t and signed-rank distribution where libraries are weak
for (case in list(c(0.3, 1), c(8, 23), c(15, 100))) {
  end <- function(p) uniroot(function(ncp) pt(case[1], case[2], ncp) - p, c(-30, 37), tol = 1e-12)$root
  put(sprintf("noncentral_t_%g_%g.low", case[1], case[2]), end(0.975), "stats pt(ncp)")
  put(sprintf("noncentral_t_%g_%g.high", case[1], case[2]), end(0.025), "stats pt(ncp)")
}
write.csv(do.call(rbind, rows), "statistics.csv", row.names = FALSE)
