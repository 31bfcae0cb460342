# Expected values of the repeated blood pressures: for each observer the within-person variance (one-way analysis of
# variance), the repeatability coefficient, and six intraclass correlations with 95 % intervals.
# Run in this folder:  Rscript confirm.R > confirm.txt
suppressPackageStartupMessages(library(psych))
readings <- read.csv("systolic_pressure.csv")
cat("# ", R.version.string, "; psych ", as.character(packageVersion("psych")), ", ICC(lmer = FALSE)\n", sep = "")
cat("observer,statistic,value,low,high\n")
for (observer in c("J", "R", "S")) {
  wide <- as.matrix(readings[, paste0(observer, 1:3)])
  n <- nrow(wide)
  within <- sum((wide - rowMeans(wide))^2) / (n * 2)
  cat(sprintf("%s,n_people,%d,,\n%s,within_variance,%.10f,,\n", observer, n, observer, within))
  cat(sprintf("%s,repeatability,%.10f,,\n", observer, 1.96 * sqrt(2) * sqrt(within)))
  icc <- ICC(wide, lmer = FALSE)$results
  for (i in 1:6) {
    cat(sprintf("%s,%s,%.10f,%.10f,%.10f\n", observer, icc$type[i], icc$ICC[i], icc$"lower bound"[i],
                icc$"upper bound"[i]))
  }
}
