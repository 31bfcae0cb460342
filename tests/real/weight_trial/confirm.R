# Expected values of the weight trial: change of weight (lb), n, mean and 95 % t interval in each group.
# Run in this folder:  Rscript confirm.R > confirm.txt
trial <- read.csv("anorexia.csv")
cat("# ", R.version.string, "; base and stats only\n", sep = "")
cat("group,n,mean,sd,low,high,p_t\n")
for (group in sort(unique(trial$Treat))) {
  change <- with(trial[trial$Treat == group, ], Postwt - Prewt)
  test <- t.test(change)
  cat(sprintf("%s,%d,%.12f,%.12f,%.12f,%.12f,%.12g\n", group, length(change), mean(change), sd(change),
              test$conf.int[1], test$conf.int[2], test$p.value))
}
